"""What sizing solves with: a budget, programs for HiGHS, models built with PuLP, transportation by flow."""
