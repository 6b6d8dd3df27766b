"""The four stages of a job, each a plain function over plain values."""
