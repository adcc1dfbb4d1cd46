"""castingvote plans tie-breaker hosts for fleets of two-node clusters."""
