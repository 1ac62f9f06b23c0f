"""Lists that come in as files and go out as files: reading, matching, taking in, writing."""
