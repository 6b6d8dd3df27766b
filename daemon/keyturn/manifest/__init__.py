"""The manifest, job.toml: its models, how it is read, how its errors are worded, and its JSON Schema."""
