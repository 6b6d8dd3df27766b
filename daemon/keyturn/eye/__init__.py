"""What an eye sees: luminance, flashes and the hand-off from logo to animation. Pure numpy."""
