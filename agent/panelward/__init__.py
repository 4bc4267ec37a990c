"""panelward: watches the branch circuits of a vehicle's distribution panel.

It watches; it does not protect. The fuse or breaker protects the conductor.
The rooms stand in the order in which a reading meets them; DEVELOPERS.md has the walk.
"""

__version__ = "0.1.0"
