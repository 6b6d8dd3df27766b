"""The second stage: transparency is laid on solid ground, and figures are drawn on frames."""
