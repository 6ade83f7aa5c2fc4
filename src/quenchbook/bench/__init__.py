"""From the plan to the bench: cautions, sheets in furnace order, blank forms to be filled in."""
