"""What is done at one unit: work, reach, stops, ways in and out."""
