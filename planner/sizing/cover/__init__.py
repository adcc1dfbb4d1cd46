"""Cover: a plan that survives the loss of any one host, hub or zone, with a standby for every site that can have it."""
