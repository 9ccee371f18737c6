"""What happened on the floor: bookings, weights judged against the plan, lots traced to parts.

Imports `shift` and below.
"""
