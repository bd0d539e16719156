"""The wiring of a site, shown: as JSON, a table, the drawing of its cables, and the sheet to print."""
