"""The min-max generalised vehicle-routing problem with time windows and multiple trips."""
