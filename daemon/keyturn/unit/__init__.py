"""How a radio reads and plays a boot animation. Pure: no pictures, no disk."""
