"""What stands where and who walks: ground plan, fleet, crew, guns, and their folder."""
