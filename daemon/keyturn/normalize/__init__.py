"""First stage. Art is decoded, turned upright, brought to sRGB at 8 bits and to the size of the panel."""
