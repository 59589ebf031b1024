"""What the record tells when it is looked back at: grease, cost, pace, the life of one machine."""
