"""What is owed on every joint of every unit, and why."""
