"""The files of a site folder, read into records."""
