"""What the office clerk opens in a browser: served on loopback, nothing else to install.

``command`` starts it; ``app`` puts it together; ``read`` shows, ``act`` does, ``files`` hands out; ``view`` words what
a ``desk`` has opened; ``guard`` and ``people`` say who may; ``reader`` reads uploads in a process of its own.
"""

from front.office.command import put_on

__all__ = ["put_on"]
