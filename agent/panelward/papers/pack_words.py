"""What the hand-over pack says in so many words. Act first; nothing here names a larger device or a cause."""

from __future__ import annotations

TITLE = "Hand-over pack"
CAUTION = (
    "Isolate every source before touching this panel. This pack tells what was written, measured and reckoned. It is no "
    "certificate. panelward watches; it does not protect: the fuse or breaker does. AC: licensed persons only. Local code and "
    "licensed practice win."
)
NO_SIGNATURE = (
    "A hash shows that a file was changed; it is no signature. This pack holds when a person has looked, and signed with ink."
)
NO_RECORD = (
    "There is no commissioning record: nothing was measured, and drift can't be judged against anything. "
    "`panelward commission` makes one."
)
NOT_ASKED = "Not asked yet."

# What happens where an always-on feed is lost, by what may be advised for its load (wording.say.manner_of).
LOST = {
    "detector": "Nobody is warned. Shut the gas at the bottle, air the cabin; don't sleep there till it runs.",
    "sump": "Water stays and rises. Look at the water yourself; leave the pump's switch on.",
    "medical": "Ring the person who needs it at once. Its own battery or the second supply carries on, nothing else does.",
    "burner": "Hot, it can no longer cool itself. Leave it alone, vents clear, 20 min; then its own control only.",
    "carrier": "Then no more messages come, and silence means nothing. Go and look, or open the door page.",
    "cold": "Its contents warm. Look at its own display first: dark, it has no power. Check the contents after.",
    "inverter": "What it runs stops. Switch its loads off first, then it; leave the main switch alone.",
    "ac": "What hangs on it stops. Unplug it; then a licensed person.",
    "charger": "The bank gets nothing from it. Look at its display; ring the fitter.",
    "socket": "What is plugged in there stops. Look at each thing's own display.",
    "kept": "What needs it stops. Look at its own display; dark, ring the fitter.",
    "pump": "It no longer pumps. Look at the water yourself; ring the fitter.",
    "plain": "It stops. Look at its own display or control; ring the fitter.",
}
ALSO_CARRIES = "Then no more messages come either."
ALSO_LIFE = "Life depends on it: act at once."

MEANS = (
    ("high", "Act now, also by night: life, a flood, a fire, or the feed of what must stay on."),
    ("medium", "Act today; it waits while people sleep."),
    ("low", "Read it with the evening sheet."),
    ("Again:", "The same message once more: it may have reached you already."),
    ("silence", "Tells nothing. The test message of each week does: where none comes, open the door page."),
)
BEFORE = {  # what comes before isolating, where such loads are always on
    "detector": "Shut the gas at the bottle; nobody sleeps aboard while these have no feed: {labels}.",
    "medical": "Ask who needs these, and see the other supply of each run: {labels}.",
    "burner": "Switch off at its own control, and wait until it has cooled itself: {labels}.",
    "sump": "Look at the water first; this won't pump: {labels}.",
    "cold": "Note the time; from here on it warms: {labels}.",
    "carrier": "Tell those who wait for messages that none come without {labels}.",
}
ISOLATED_ONLY = "Close again the other way round: the bank first, the sun last. Once: the inverter draws its inrush each time."

NEVER_SEEN = (
    "Gas, carbon monoxide, smoke, fire: panelward is no alarm for these. Test each detector by its own button.",
    "Bonding, protective earth, neutral, residual currents, insulation: none of these shows in a panel's amps. They stand in "
    "section 7, to be seen by a person.",
    "A joint that heats behind the panel, water in a plug, a rubbing cable before it shorts.",
    "What hangs on no monitored way, and anything while readings are missing: then nothing is known, which is no zero.",
)
