"""Tasks for worker processes, in a module of their own so that a fresh process can import them."""

import os
import time

DEADLY = -1


def double_or_die(item, shared, _stopped):
    """Return the item times what is shared; a deadly item ends the process."""
    if item == DEADLY:
        os._exit(9)
    return item * shared


def double_slowly(item, shared):
    """Return the item times what is shared, after a while; the first one is soon there."""
    time.sleep(0.01 if item == 0 else 0.3)
    return item * shared
