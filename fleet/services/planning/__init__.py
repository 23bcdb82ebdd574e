"""Which line in which outage: plans worked out, kept, handed over, and looked back at."""
