"""The page: what the household sees in a browser; its routes, templates, styles, scripts and translations."""
