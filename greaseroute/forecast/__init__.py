"""The week ahead: hours, services, mornings, and the grease they use."""
