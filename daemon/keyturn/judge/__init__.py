"""Findings about a made animation: flashes, memory, sizes, timing, crops."""
