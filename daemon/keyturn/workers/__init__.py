"""Where frame work runs: processes on this machine, or a cluster."""
