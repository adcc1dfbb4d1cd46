"""The horizon: when and where to add hosts so that every period is served."""
