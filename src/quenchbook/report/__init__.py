"""From an executed notebook to one HTML page and one PDF."""
