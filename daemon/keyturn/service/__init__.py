"""The service: the loop, the thread that makes drops, their moves through the folders, recovery, status and hooks."""
