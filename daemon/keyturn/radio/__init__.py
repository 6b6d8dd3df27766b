"""How a radio reads and plays an animation. Pure arithmetic."""
