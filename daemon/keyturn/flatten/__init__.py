"""Second stage. Transparency is laid on solid ground, and figures are drawn on frames."""
