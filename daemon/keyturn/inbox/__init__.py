"""What has arrived: events, settling, unpacking, and a list of the files."""
