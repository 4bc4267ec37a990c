"""A simulated vehicle with physical loads: publishes over MQTT, or writes a file and its truth. For demo and tests.

Its physics is its own: it shares no code with watch or ratings, so that one can be judged by the other.
"""

from panelward.rig.export import write
from panelward.rig.life import FAULTS, Life
from panelward.rig.van import Row, Van

__all__ = ["FAULTS", "Life", "Row", "Van", "write"]
