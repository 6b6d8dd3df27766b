"""The PNG format: chunks, row filters, deflate, palettes."""
