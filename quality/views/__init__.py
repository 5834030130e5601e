"""Pages of the records' side, thin: parse, ask, choose a template."""
