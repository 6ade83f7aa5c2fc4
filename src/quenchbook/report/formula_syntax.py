r"""Where a formula begins and ends in Markdown: ``$x$``, ``$$x$$``, ``\begin{equation}``.

A dollar that is money stays a dollar: an inline formula has no space behind its first and before
its last dollar, no letter or digit before the first and no digit after the last.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from re import Match

    from mistune import BlockParser, BlockState, InlineParser, InlineState, Markdown

INLINE: Final = "inline_formula"
DISPLAY: Final = "display_formula"

_NAMES: Final = (
    "equation|align|alignat|aligned|gather|gathered|multline|flalign|eqnarray|displaymath|math"
)
_ENVIRONMENT: Final = rf"\\begin\{{(?P<NAME>(?:{_NAMES})\*?)\}}[\s\S]+?\\end\{{(?P=NAME)\}}"
_NO_EMPTY_LINE: Final = r"(?!\n[ \t]*\n)"
_IN_DOUBLE: Final = rf"(?:{_NO_EMPTY_LINE}(?:\\[\s\S]|[^\\$]|\$(?!\$)))+?"
_IN_SINGLE: Final = rf"(?:{_NO_EMPTY_LINE}(?:\\[\s\S]|[^\\$`]))+?"

_BLOCK: Final = (
    rf"^ {{0,3}}(?:\$\$(?P<block_tex>{_IN_DOUBLE})\$\$"
    rf"|(?P<block_environment>{_ENVIRONMENT.replace('NAME', 'block_name')}))[ \t]*(?:\n|$)"
)
_INLINE_DISPLAY: Final = (
    rf"(?<![\\$])\$\$(?P<double_tex>{_IN_DOUBLE})\$\$(?!\$)"
    rf"|(?P<inline_environment>{_ENVIRONMENT.replace('NAME', 'inline_name')})"
)
_MONEY: Final = r"(?!\d[\d.,]*(?:[;:,]\s|\s+\(|\s+[A-Za-z]{2,}[\s.,;:]))"
_INLINE: Final = rf"(?<![\\$\w])\$(?=[^\s$]){_MONEY}(?P<single_tex>{_IN_SINGLE})(?<!\s)\$(?![\d$])"


def formulas(md: Markdown) -> None:
    """Plugin of mistune that finds formulas, also in lists and quotes."""
    md.block.register(DISPLAY, _BLOCK, _block, before="list")
    md.block.insert_rule(md.block.list_rules, DISPLAY, before="list")
    md.block.insert_rule(md.block.block_quote_rules, DISPLAY, before="list")
    md.inline.register(DISPLAY, _INLINE_DISPLAY, _inline_display, before="escape")
    md.inline.register(INLINE, _INLINE, _inline, before="escape")


def _block(_parser: BlockParser, found: Match[str], state: BlockState) -> int | None:
    tex = found.group("block_tex") or found.group("block_environment")
    if not tex.strip():
        return None
    state.append_token({"type": DISPLAY, "raw": tex.strip()})
    return found.end()


def _inline_display(_parser: InlineParser, found: Match[str], state: InlineState) -> int | None:
    tex = found.group("double_tex") or found.group("inline_environment")
    if not tex.strip():
        return None
    state.append_token({"type": DISPLAY, "raw": tex.strip()})
    return found.end()


def _inline(_parser: InlineParser, found: Match[str], state: InlineState) -> int:
    state.append_token({"type": INLINE, "raw": found.group("single_tex")})
    return found.end()
