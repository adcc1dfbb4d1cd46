"""A plan with cover from the start, host by host, made better: construction, repair, relaxation over pools, polish."""
