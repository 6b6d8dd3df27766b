"""Readers of stills, clips, films and drawings."""
