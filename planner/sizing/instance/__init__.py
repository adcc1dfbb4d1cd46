"""What sizing is given: the arrays of a fleet, its classes, limits, and the assignment in force."""
