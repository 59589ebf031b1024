"""The generalised travelling-salesman problem: one node of each cluster, a closed tour."""
