"""What is owed: meter, interval, worklist."""
