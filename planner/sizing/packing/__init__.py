"""Sites on the hosts of one pool: bin packing, in one dimension or two."""
