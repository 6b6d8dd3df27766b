"""The PNG format: filters, deflate, palettes."""
