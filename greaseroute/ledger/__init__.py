"""What was done on the site: events that are never changed, in one SQLite file of the folder."""
