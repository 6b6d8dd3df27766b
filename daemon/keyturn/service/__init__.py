"""The service: the loop, the thread that makes drops, what becomes of one drop, status, waiting after a fault."""
