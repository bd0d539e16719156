"""One way of showing each result: JSON, table, CSV, HTML, SVG; for cli and web alike."""
