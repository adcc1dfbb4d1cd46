"""Tasks for worker processes, in a module of their own so that a fresh process can import them."""

import os

DEADLY = -1


def double_or_die(item, shared, _stopped):
    """Return the item times what is shared; a deadly item ends the process."""
    if item == DEADLY:
        os._exit(9)
    return item * shared
