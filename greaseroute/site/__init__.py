"""What stands where and who walks: ground plan, fleet, crew and guns, and the folder they lie in."""
