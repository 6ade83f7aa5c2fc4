// The tile "New heat-treatment study" of JupyterLab's Launcher. Written by hand and not built:
// JupyterLab shares its own modules, and this file only asks for them.
"use strict";
(() => {
  const USED = {
    apputils: "@jupyterlab/apputils",
    filebrowser: "@jupyterlab/filebrowser",
    launcher: "@jupyterlab/launcher",
    services: "@jupyterlab/services",
    ui: "@jupyterlab/ui-components",
  };
  const CATEGORY = "Heat treatment";
  const COMMAND = "quenchbook:new-study";

  // A coupon on its wire, half in the quench: our own drawing. jp-icon3 is text colour, light and
  // dark; the fill of the coupon is the straw of our pages, which its frame carries on both grounds.
  const DRAWING = `
<svg xmlns="http://www.w3.org/2000/svg" width="16" height="16" viewBox="0 0 24 24">
  <rect x="9" y="5.5" width="6" height="12" rx="0.6" fill="#F3DFA6"/>
  <g class="jp-icon3" stroke="#616161" fill="none" stroke-width="1.5" stroke-linecap="round" stroke-linejoin="round">
    <path d="M12 7.6 V2.6 C12 1.4 14 1.4 14 2.6" fill="none"/>
    <rect x="9" y="5.5" width="6" height="12" rx="0.6" fill="none"/>
    <path d="M3 9 V20.5 C3 21.3 3.7 22 4.5 22 H19.5 C20.3 22 21 21.3 21 20.5 V9" fill="none"/>
    <path d="M3 13 C4.5 11.6 6.5 14.4 9 13 M15 13 C17.5 11.6 19.5 14.4 21 13" fill="none"/>
    <path d="M6 17.2 V17.3 M18 17.2 V17.3 M6.6 19.4 V19.5 M17.4 19.4 V19.5" fill="none"/>
  </g>
</svg>`;

  // Each shared module has a factory for each version that is there; JupyterLab shares one.
  async function shared(scope, name) {
    const [own] = Object.values(scope[name] || {});
    if (!own) {
      throw new Error(`quenchbook: this JupyterLab does not share ${name}`);
    }
    return (await own.get())();
  }

  // The server part of quenchbook: its answer is a path or a message.
  async function answered(services, query, init) {
    const settings = services.ServerConnection.makeSettings();
    const answer = await services.ServerConnection.makeRequest(
      `${settings.baseUrl}quenchbook/studies${query}`,
      init,
      settings,
    );
    const told = await answer.json().catch(() => ({}));
    if (!answer.ok) {
      throw new Error(
        answer.status === 404
          ? "The server part of quenchbook is not running. In a terminal, quenchbook doctor says what to do."
          : told.message || `The server answered ${answer.status}.`,
      );
    }
    return told;
  }

  // Where a study would be made: beside the study that the folder belongs to.
  const placeOf = (services, folder) =>
    answered(services, `?folder=${encodeURIComponent(folder)}`, { method: "GET" });

  // One study, made by quenchbook itself on the server.
  const made = (services, folder, name) =>
    answered(services, "", { method: "POST", body: JSON.stringify({ folder, name }) });

  // A screen reader says what changes inside a region that was there before. The words of a form
  // are replaced whole, so the role goes from them to the element that stays around them
  // (forms/shown_form.py names the classes), and a message becomes the description of its field.
  function keepLiveRegions() {
    const regions = document.getElementsByClassName("quenchbook-said");
    const fields = document.getElementsByClassName("quenchbook-field");
    let count = 0;
    const put = (node, name, value) => {
      if (node && node.getAttribute(name) !== value) {
        node.setAttribute(name, value);
      }
    };
    const settle = () => {
      for (const region of regions) {
        put(region, "role", "status");
        put(region, "aria-live", "polite");
        put(region, "aria-atomic", "true");
        for (const words of region.querySelectorAll("[aria-live]")) {
          words.removeAttribute("role");
          words.removeAttribute("aria-live");
        }
      }
      for (const field of fields) {
        const input = field.querySelector("input");
        const message = field.querySelector(".quenchbook-said");
        if (input && message) {
          message.id = message.id || `quenchbook-said-${++count}`;
          put(input, "aria-describedby", message.id);
          const wrong = message.textContent.trim() && !message.querySelector(".quenchbook-told");
          put(input, "aria-invalid", wrong ? "true" : "false");
        }
      }
    };
    new MutationObserver(settle).observe(document.body, { childList: true, subtree: true });
    settle();
  }

  function plugin(of) {
    return {
      id: "quenchbook:launcher",
      description: "Starts a heat-treatment study from the Launcher.",
      autoStart: true,
      requires: [of.filebrowser.IDefaultFileBrowser],
      optional: [of.launcher.ILauncher, of.apputils.ICommandPalette],
      activate: (app, browser, launcher, palette) => {
        keepLiveRegions();
        app.commands.addCommand(COMMAND, {
          label: (args) => (args.isPalette ? "New Heat-Treatment Study" : "New heat-treatment study"),
          caption: "Make a study folder with study.toml and notebooks, and open its start page",
          icon: new of.ui.LabIcon({ name: "quenchbook:study", svgstr: DRAWING }),
          execute: async (args) => {
            const shown = args.cwd ?? browser.model.path;
            let folder;
            try {
              folder = (await placeOf(of.services, shown)).folder;
            } catch (error) {
              await of.apputils.showErrorMessage("No study can be made here", error.message);
              return;
            }
            const beside = folder === shown.replace(/^\/+|\/+$/g, "") ? "" : ", beside the study that is open";
            let text = "";
            for (;;) {
              const asked = await of.apputils.InputDialog.getText({
                title: "New heat-treatment study",
                label: `Name of the study folder, made in ${folder ? `"${folder}"` : "the top folder of the file browser"}${beside}:`,
                placeholder: "my_study",
                okLabel: "Make the study",
                text,
              });
              if (!asked.button.accept) {
                return;
              }
              text = asked.value || "";
              try {
                const study = await made(of.services, folder, text);
                await browser.model.cd(`/${study.folder}`);
                const page = await app.commands.execute("docmanager:open", { path: study.start_page });
                await page.context.ready;
                await page.sessionContext.ready;
                if (page.isDisposed) {
                  return; // closed while its kernel started
                }
                // our own page, just written here: it may run by itself. Only this one: another tab
                // may have come to the front meanwhile.
                await app.commands.execute("notebook:run-all-cells", {
                  [of.apputils.SemanticCommand.WIDGET]: page.id,
                  activate: false,
                });
                await page.context.save();
                page.content.activeCellIndex = 0;
                await page.content.scrollToItem(0, "start");
                return;
              } catch (error) {
                await of.apputils.showErrorMessage("No study was opened", error.message);
              }
            }
          },
        });
        if (launcher) {
          // A category of its own would stand below all others, out of sight on a small screen.
          launcher.add({ command: COMMAND, category: "Other", rank: 1 });
        }
        if (palette) {
          palette.addItem({ command: COMMAND, category: CATEGORY, args: { isPalette: true } });
        }
      },
    };
  }

  let scope;
  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB.quenchbook = {
    init: (given) => {
      scope = given;
    },
    get: async (module) => {
      if (module !== "./extension") {
        throw new Error(`quenchbook has no module ${module}`);
      }
      const found = {};
      for (const [short, name] of Object.entries(USED)) {
        found[short] = await shared(scope, name);
      }
      return () => ({ __esModule: true, default: plugin(found) });
    },
  };
})();
