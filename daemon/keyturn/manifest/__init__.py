"""job.toml: its models, and how it is read."""
