"""What artists send, read safely: stills, clips, zips and whole drops."""
