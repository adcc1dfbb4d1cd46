"""Deciding ahead: what-if sweeps, growth over a horizon, and designs compared. All plan changed fleets."""
