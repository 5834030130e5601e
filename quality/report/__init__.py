"""The year's data-quality report: facts, sections, and their PDF and XLSX."""
