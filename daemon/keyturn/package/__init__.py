"""Fourth stage. Frames become files, the files an animation of the right size, and that a folder for the stick."""
