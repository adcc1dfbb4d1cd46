"""Designs compared: a third node, or a third vote that is shared, dedicated or built in."""
