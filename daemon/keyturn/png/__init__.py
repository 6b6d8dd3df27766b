"""Writing PNG files: row filters, deflate, palettes, chunks."""
