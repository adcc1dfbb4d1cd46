"""From the assignments of today to a plan: hosts emptied, assignments kept, fewest moves, moves against hosts."""
