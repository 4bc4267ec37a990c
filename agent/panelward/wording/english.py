"""English. Every sentence that a phone may show, apart from code: another language is another file like this one.

SENTENCES[situation][manner] is a tuple of alternatives, the fullest first; the first that fits 140 characters is taken.
A manner is what may be advised for a load (say.manner_of); "*" stands for every manner without a line of its own.
The act comes first, then the label, what was seen with its number, since when. Words that may never be used, and
advice that may never be given for a load, are in tests/wording.
"""

from __future__ import annotations

_FOR_LONG = "{amps} A since {since}, more than its {word} carries for long."
_MINUTES = " It may cut off within minutes."
_CABLE = "its cable may be overheating, {amps} A since {since}."
_LISTED = "longer than the {word} on the door list could."
_OUT = " Smell or smoke: get everyone out."

SENTENCES: dict[str, dict[str, tuple[str, ...]]] = {
    "overcurrent": {
        "socket": ("Switch something off at {label}: " + _FOR_LONG + _MINUTES,
                   "Switch something off at {label}: " + _FOR_LONG),
        "plain": ("Switch {label} off: " + _FOR_LONG + _MINUTES, "Switch {label} off: " + _FOR_LONG),
        "cold": ("Look at {label}'s display: " + _FOR_LONG + _MINUTES, "Look at {label}'s display: " + _FOR_LONG),
        "burner": ("Turn {label} down at its own control: " + _FOR_LONG + _MINUTES,
                   "Turn {label} down at its own control: " + _FOR_LONG),
        "inverter": ("Switch off what {label} runs: " + _FOR_LONG + _MINUTES,
                     "Switch off what {label} runs: " + _FOR_LONG),
        "ac": ("Unplug something at {label}: " + _FOR_LONG + _MINUTES, "Unplug something at {label}: " + _FOR_LONG),
        "carrier": ("Ring the fitter about {label}: " + _FOR_LONG + " If it cuts off, then no more messages come.",
                    "Ring the fitter about {label}: {amps} A since {since}. If it cuts off, then no more messages come."),
        "charger": ("Look at {label}'s display: " + _FOR_LONG + _MINUTES, "Look at {label}'s display: " + _FOR_LONG),
        "*": ("Ring the fitter about {label}: " + _FOR_LONG + _MINUTES, "Ring the fitter about {label}: " + _FOR_LONG),
    },
    "continuous": {
        "*": ("Have {label} looked at at the next stop: {amps} A since {since}, more than its {word} is meant to carry "
              "for hours.",
              "Have {label} looked at at the next stop: {amps} A since {since}, much for its {word}."),
    },
    "conductor": {
        "plain": ("Switch {label} off, leave it off: " + _CABLE + _OUT, "Switch {label} off: " + _CABLE + _OUT),
        "socket": ("Switch all off at {label}, leave it off: " + _CABLE + _OUT, "Switch all off at {label}: " + _CABLE + _OUT),
        "cold": ("Switch {label} off at its display: " + _CABLE + _OUT,),
        "burner": ("Turn {label} off at its own control only: " + _CABLE + _OUT,
                   "Turn {label} off at its own control: cable overheating? {amps} A since {since}." + _OUT),
        "inverter": ("Switch off what {label} runs, then it: " + _CABLE + _OUT, "Switch off what {label} runs: " + _CABLE + _OUT),
        "ac": ("Unplug everything at {label}: " + _CABLE + _OUT,),
        "carrier": ("Switch {label} off, then no more messages come: " + _CABLE + _OUT,
                    "Switch {label} off, then no more messages come: " + _CABLE),
        "charger": ("Switch {label} off at its source: " + _CABLE + _OUT,),
        "detector": ("Shut the gas, get all out: {label}'s cable may be overheating, {amps} A since {since}. "
                     "Don't sleep there.",
                     "Shut the gas, get all out: {label}'s cable may be overheating, {amps} A since {since}."),
        "medical": ("Ring whoever needs {label} now: " + _CABLE + _OUT,),
        "*": ("Ring the fitter now about {label}: " + _CABLE + _OUT,),
    },
    "doubtful": {
        "plain": ("Keep {label} off, ring the fitter: at {since} it held {amps} A " + _LISTED,),
        "socket": ("Keep all off at {label}, ring the fitter: at {since} it held {amps} A " + _LISTED,
                   "Keep all off at {label}: at {since} it held {amps} A " + _LISTED),
        "inverter": ("Keep off what {label} runs, ring the fitter: at {since} it held {amps} A " + _LISTED,
                     "Keep off what {label} runs: at {since} it held {amps} A " + _LISTED),
        "ac": ("Keep {label} unplugged, ask a licensed person: at {since} it held {amps} A " + _LISTED,
               "Keep {label} unplugged: at {since} it held {amps} A " + _LISTED),
        "*": ("Ring the fitter about {label}: at {since} it held {amps} A " + _LISTED,),
    },
    "opened-overload": {
        "cold": ("Look at {label}'s display, ring the fitter: its {word} cut off at {since}, overloaded at {amps} A.",),
        "burner": ("Leave {label} alone, vents clear: its {word} cut off at {since}, at {amps} A. "
                   "Wait 20 min before touching it.",),
        "detector": ("Shut the gas, air the cabin: {label}'s {word} cut off at {since}, at {amps} A. "
                     "Don't sleep there till it runs.",),
        "medical": ("Ring whoever needs {label} now: its {word} cut off at {since}, at {amps} A. Use its own battery.",),
        "sump": ("Look at the water by {label} yourself: its {word} cut off at {since}, at {amps} A. Ring the fitter.",),
        "carrier": ("Ring the fitter about {label}: its {word} cut off at {since}, at {amps} A. Messages may stop with it.",),
        "inverter": ("Switch off what {label} runs: its {word} cut off at {since}, overloaded at {amps} A. "
                     "Have the cause found.",),
        "ac": ("Unplug everything at {label}: its {word} cut off at {since}, at {amps} A. "
               "Then ask a licensed person.",),
        "*": ("Keep {label} switched off: its {word} cut off at {since}, overloaded at {amps} A. Have the cause found, "
              "then fit only the listed {word}.",
              "Keep {label} switched off: its {word} cut off at {since}, overloaded at {amps} A. Have the cause found.",),
    },
    "opened-ordinary": {
        "cold": ("Look at {label}'s display, ring the fitter: its {word} seems to have cut off at {since}, after {amps} A.",),
        "burner": ("Leave {label} alone, vents clear: its {word} seems to have cut off at {since}, after {amps} A.",),
        "detector": ("Shut the gas, air the cabin: {label}'s {word} seems to have cut off at {since}. "
                     "Don't sleep there till it runs.",),
        "medical": ("Ring whoever needs {label} now: its {word} seems to have cut off at {since}. Use its own battery.",),
        "sump": ("Look at the water by {label} yourself: its {word} seems to have cut off at {since}. Ring the fitter.",),
        "carrier": ("Ring the fitter about {label}: its {word} seems to have cut off at {since}. Messages may stop with it.",),
        "inverter": ("Switch off what {label} runs: its {word} seems to have cut off at {since}, after {amps} A.",),
        "ac": ("Unplug everything at {label}: its {word} seems to have cut off at {since}. Then ask a licensed person.",),
        "*": ("Keep {label} switched off: its {word} seems to have cut off at {since}, after {amps} A. "
              "Have the cause found.",),
    },
    "opened-heat": {
        "cold": ("Look at {label}'s display, let the panel cool: its {word} cut off at {since}, at {amps} A in {celsius} °C heat.",),
        "burner": ("Leave {label} alone, vents clear: its {word} cut off at {since}, at {amps} A in {celsius} °C heat.",),
        "detector": ("Shut the gas, air the cabin: {label}'s {word} cut off at {since} in heat. Don't sleep there till it runs.",),
        "medical": ("Ring whoever needs {label} now: its {word} cut off at {since} in heat. Use its own battery.",),
        "sump": ("Look at the water by {label} yourself: its {word} cut off at {since} in heat. Ring the fitter.",),
        "carrier": ("Ring the fitter about {label}: its {word} cut off at {since} in heat. Messages may stop with it.",),
        "inverter": ("Switch off what {label} runs, let the panel cool: its {word} cut off at {since}, at {amps} A in "
                     "{celsius} °C heat.",
                     "Switch off what {label} runs: its {word} cut off at {since} in {celsius} °C heat."),
        "ac": ("Unplug everything at {label}: its {word} cut off at {since} in {celsius} °C heat. Then ask a licensed person.",),
        "*": ("Keep {label} switched off, let the panel cool: its {word} cut off at {since}, at {amps} A in {celsius} °C heat.",),
    },
    "doubtful-early": {
        "ac": ("Keep {label} unplugged, ask a licensed person: its {word} cut off at {amps} A again, at {since}, less than it "
               "is listed for.",
               "Keep {label} unplugged, ask a licensed person: its {word} cut off at {amps} A again, at {since}."),
        "*": ("Have the fitter look at {label}: its {word} cut off at {amps} A again, at {since}, less than it is listed for.",),
    },
    "opened-short": {
        "detector": ("Shut the gas, air the cabin: {label}'s {word} cut off on a short circuit at {since}. "
                     "Don't sleep there till it runs.",),
        "medical": ("Ring whoever needs {label} now: its {word} cut off on a short circuit at {since}. Use its own battery.",),
        "sump": ("Look at the water by {label} yourself: its {word} cut off on a short circuit at {since}. Ring the fitter.",),
        "burner": ("Leave {label} alone, vents clear: its {word} cut off on a short circuit at {since}. Ring the fitter.",),
        "ac": ("Unplug everything at {label}, leave it off: a short circuit at {since}. Then ask a licensed person.",),
        "*": ("Don't refit {label}'s {word}: it cut off on a short circuit at {since}, the battery dipped {dip} V. "
              "Have the cable checked first.",
              "Don't refit {label}'s {word}: it cut off on a short circuit at {since}. Have the cable checked first."),
    },
    "opened-repeatedly": {
        "detector": ("Shut the gas, air the cabin: {label}'s {word} cut off {openings} times since {first}. "
                     "Don't sleep there till it runs.",),
        "medical": ("Ring whoever needs {label} now: its {word} cut off {openings} times since {first}. Use its own battery.",),
        "sump": ("Look at the water by {label} yourself: its {word} cut off {openings} times since {first}. Ring the fitter.",),
        "burner": ("Leave {label} alone, vents clear: its {word} cut off {openings} times since {first}. Ring the fitter.",),
        "ac": ("Unplug everything at {label}: its {word} cut off {openings} times since {first}. Ask a licensed person.",),
        "*": ("Leave {label} off: its {word} cut off {openings} times since {first}. The fault is behind it; "
              "another {word} won't cure it.",),
    },
    "opened-undecided": {
        "ac": ("Leave {label} unplugged: it drew {amps} A until {since} and nothing since. Its {word} or a switch: ask a "
               "licensed person.",),
        "inverter": ("Leave what {label} runs off: {amps} A until {since}, nothing since. A {word} or a switch: look at the "
                     "panel switch first.",),
        "*": ("Keep {label} off: {amps} A until {since}, nothing since. A {word} or a switch: look at the panel switch first.",),
    },
    "lost-unknown": {
        "cold": ("Look at {label}'s display. Dark: no power, ring the fitter. Lit: it rests or was turned down. "
                 "No draw for {lasting}, since {since}.",
                 "Look at {label}'s display. Dark: no power, ring the fitter. Lit: it rests. No draw since {since}."),
        "detector": ("Shut the gas at the bottle, air the cabin: {label} has drawn nothing for {lasting}, since {since}. "
                     "Don't sleep there till it runs.",
                     "Shut the gas, air the cabin: {label} has drawn nothing for {lasting}, since {since}. "
                     "Don't sleep there till it runs.",
                     "Shut the gas, air the cabin: {label} has drawn nothing since {since}. Don't sleep there till it runs."),
        "medical": ("Ring whoever needs {label} now: it has drawn nothing for {lasting}, since {since}. "
                    "Use its own battery or the second supply.",
                    "Ring whoever needs {label} now: it has drawn nothing since {since}. Use its own battery."),
        "sump": ("Look at the water by {label} yourself: it has drawn nothing for {lasting}, since {since}. Ring the fitter.",),
        "burner": ("Leave {label} alone, vents clear: it has drawn nothing for {lasting}, since {since}. "
                   "Wait 20 min before touching it.",),
        "carrier": ("Look if {label} still runs: it has drawn nothing for {lasting}, since {since}. Without it no more "
                    "messages come.",),
        "ac": ("Look at {label}'s plug and own switch: it has drawn nothing for {lasting}, since {since}.",),
        "*": ("Look at {label}: it has drawn nothing for {lasting}, since {since}. {either}",
              "Look at {label}: it has drawn nothing since {since}. {either}",
              "Look at {label}: it has drawn nothing for {lasting}, since {since}."),
    },
    "lost-at-load": {
        "cold": ("Look at {label}'s display. Dark: its own switch or plug first, then ring the fitter. No draw since {since}.",),
        "carrier": ("Look at {label}'s own switch: no draw for {lasting}, since {since}. Without it no more messages come.",),
        "*": ("Look at {label}'s own switch: it has drawn nothing for {lasting}, since {since}. If it is on, ring the fitter.",
              "Look at {label}'s own switch: it has drawn nothing for {lasting}, since {since}."),
    },
    "lost-load": {
        "cold": ("Look at {label}'s display and contents: it has power and draws nothing for {lasting}, since {since}. "
                 "Ring the fitter.",
                 "Look at {label}'s display and contents: it has power and draws nothing, since {since}."),
        "carrier": ("Look if {label} runs: it has power and draws nothing since {since}. Without it no more messages come.",),
        "ac": ("Leave {label} unplugged, have it looked at: it has power and draws nothing for {lasting}, since {since}.",),
        "*": ("Have {label} looked at: it has power and draws nothing for {lasting}, since {since}. It may itself have failed.",),
    },
    "lost-wiring": {
        "cold": ("Look at {label}'s display, ring the fitter: its draw flickered, then nothing since {since}. Its wiring may be "
                 "open.",),
        "carrier": ("Ring the fitter about {label}: its draw flickered, nothing since {since}. Without it no more messages "
                    "come.",),
        "ac": ("Unplug {label}, ask a licensed person: its draw flickered, then nothing since {since}. Its wiring may be open.",),
        "*": ("Leave {label} off, have its wiring checked: its draw flickered, then nothing for {lasting}, since {since}.",
              "Leave {label} off, have its wiring checked: its draw flickered, then nothing since {since}."),
    },
    "lost-own-fuse": {
        "ac": ("Unplug {label}, have it looked at: nothing drawn since {since}. Its own fuse may have cut off, in its plug or "
               "itself.",),
        "*": ("Ring the fitter about {label}: nothing drawn for {lasting}, since {since}. Its own fuse may have cut off, "
              "in its lead.",
              "Ring the fitter about {label}: nothing drawn since {since}. Its own fuse may have cut off, in its lead."),
    },
    "lost-lock-out": {
        "cold": ("Look at {label}'s display: it stopped at {since} at {volts} V, too few for it. Switch off what you can do "
                 "without.",),
        "carrier": ("Look at {label}: it stopped at {since} at {volts} V, too few for it. Without it no more messages come.",),
        "*": ("Look at {label}: it stopped at {since} at {volts} V, too few for it. Switch off what you can do without.",),
    },
    "lost-upstream": {
        "carrier": ("Look at the main switch: {label} has drawn nothing since {since}. Without it no more messages come.",),
        "ac": ("Look at what feeds {label}: it has drawn nothing for {lasting}, since {since}.",),
        "inverter": ("Ring the fitter about {label}: it has drawn nothing for {lasting}, since {since}. What feeds it may be off.",),
        "*": ("Look at the main switch: {label} has drawn nothing for {lasting}, since {since}. If it is on, ring the fitter.",
              "Look at the main switch: {label} has drawn nothing for {lasting}, since {since}."),
    },
    "lost-limited": {
        "ac": ("Unplug everything at {label}: what feeds it seems to have shut itself off at {since}, after {amps} A.",),
        "inverter": ("Switch off what {label} runs, let it rest: it seems to have shut itself off at {since}, after {amps} A.",),
        "*": ("Leave {label} off, ring the fitter: its output seems to have shut itself off at {since}, after {amps} A.",),
    },
    "lost-switched-off": {
        "detector": ("Shut the gas, air the cabin: {label} was switched off at {since}. Don't sleep there till it runs.",),
        "medical": ("Ring whoever needs {label} now: it was switched off at {since}. Use its own battery till it runs.",),
        "sump": ("Look at the water by {label} yourself: it was switched off at {since}. Ask by whom.",),
        "burner": ("Leave {label} alone, vents clear: it was switched off at {since}. Wait 20 min before touching it.",),
        "carrier": ("Ask who switched {label} off at {since}. If nobody is working on it, switch it on: without it no more "
                    "messages come.",),
        "*": ("Ask who switched {label} off at {since}. If nobody is working on it, switch it on.",),
    },
    "parent-lost": {
        "gas": ("Shut the gas, air the cabin, then find the main switch: {count} circuits stopped together at {since}, "
                "{label} among them.",
                "Shut the gas, air the cabin: {count} circuits stopped together at {since}, {label} among them."),
        "feeder": ("Ring the fitter about the feeder {place}: {count} circuits stopped together at {since}, "
                   "{label} among them.",
                   "Ring the fitter about feeder {place}: {count} circuits stopped at {since}."),
        "cut-off": ("Leave the battery as it is, ring the fitter: it cut {count} circuits off at {since}, its charge low; "
                    "{label} among them.",),
        "*": ("Look at the main switch: {count} circuits stopped together at {since}, {label} among them.",),
        "limited": ("Unplug everything at {label}: what feeds it shut itself off at {since}, overloaded; {count} circuits "
                    "without power.",),
        "low": ("Switch off what you can do without: {place} has {volts} V since {since}, too few for {count} circuits, {label} "
                "among them.",
                "Switch off what you can do without: {volts} V since {since}, too few for {count} circuits, {label} too."),
        "fed": ("Look at what feeds {label}: {count} circuits stopped together at {since}.",),
        "none": ("Look at the main switch: no volts on {place} since {since}, {count} circuits without power.",),
    },
    "flood-dead": {
        "detector": ("Shut the gas, air the cabin, then find the main switch: {count} circuits stopped {together} {stopped}, "
                     "{label} among them.",
                     "Shut the gas, air the cabin: {count} circuits stopped {together} {stopped}, {label} among them."),
        "medical": ("Ring whoever needs {label} now: {count} circuits stopped {together} {stopped}, it among them. "
                    "Then look at the main switch.",),
        "sump": ("Look at the water by {label} yourself: {count} circuits stopped {together} {stopped}, it among them. "
                 "Then the main switch.",),
        "burner": ("Leave {label} alone, vents clear: {count} circuits stopped {together} {stopped}, it among them. "
                   "Look at the main switch.",),
        "carrier": ("Look if {label} still runs: {count} circuits stopped {together} {stopped}. Without it no more "
                    "messages come.",),
        "*": ("Look at the main switch: {count} circuits stopped {together} {stopped}, {label} among them.",),
    },
    "flood-overcurrent": {
        "medical": ("Ring whoever needs {label} now: {count} alarms since {since}, {of_most} of circuits that draw too much.",),
        "*": ("Look at {label} first: {count} alarms since {since}, {of_most} of circuits that draw too much. "
              "Switch off what you can do without.",
              "Look at {label} first: {count} alarms since {since}, {of_most} of circuits that draw too much."),
    },
    "flood-silent": {
        "*": ("Look at {label} yourself: {of_most} circuits or monitors give no readings, since {since}. They may be working; "
              "look at what must.",
              "Look at {label} yourself: {of_most} circuits or monitors give no readings, since {since}."),
    },
    "flood-drain": {
        "*": ("Look what was left on: {of_most} circuits draw more than at rest, {label} among them. Found since {since}.",),
    },
    "flood-mixed": {
        "detector": ("Shut the gas, air the cabin, then look at the whole panel: {count} alarms since {since}, {label} among "
                     "them.",
                     "Shut the gas, air the cabin: {count} alarms since {since}, {label} among them."),
        "medical": ("Ring whoever needs {label} now, then look at the whole panel: {count} alarms since {since}, it among "
                    "them.",),
        "sump": ("Look at the water by {label} yourself, then at the whole panel: {count} alarms since {since}, it among "
                 "them.",),
        "burner": ("Leave {label} alone, vents clear, look at the whole panel: {count} alarms since {since}, it among them.",),
        "*": ("Look at {label} first, then at the whole panel: {count} alarms since {since}, it among them.",),
        "none": ("Look at the whole panel: {count} alarms since {since}, too many to tell one by one.",),
    },
    "flood-past": {
        "*": ("Look at {label} once, then at the whole panel: {over} alarms came since {since} and are over or put aside at {at}.",),
        "none": ("Look at the whole panel once: {over} alarms came since {since} and are over or put aside at {at}.",),
    },
    "flood-over": {
        "*": ("Look at the list of alarms for what still stands: since {at} they are told one by one again.",),
    },
    "near-cut-off": {
        "hours-inverter": ("Switch off what {inverter} runs, then {inverter}: the battery cuts out in about {hours} h, "
                           "{label} with it. Falling since {since}.",
                           "Switch off what {inverter} runs: the battery cuts out in about {hours} h, {label} with it. "
                           "Falling since {since}.",
                           "Switch off what {inverter} runs: the battery cuts out in about {hours} h. "
                           "Falling since {since}."),
        "hours": ("Switch off what you can do without: the battery cuts out in about {hours} h, {label} with it. "
                  "Falling since {since}.",),
        "inverter": ("Switch off what {inverter} runs, then it: the battery nears its cut-off, hours left unknown, "
                     "{volts} V since {since}; {label} goes with it.",
                     "Switch off what {inverter} runs: the battery nears its cut-off, hours left unknown, {volts} V since "
                     "{since}.",
                     "Switch off what {inverter} runs: the battery nears its cut-off, {volts} V since {since}."),
        "*": ("Switch off what you can do without: the battery nears its cut-off, hours left unknown, {volts} V since {since}; "
              "{label} goes with it.",
              "Switch off what you can do without: battery near its cut-off, hours left unknown, {volts} V since {since}; "
              "{label} goes too.",
              "Switch off what you can do without: battery near its cut-off, {volts} V since {since}; {label} goes too."),
        "hours-inverter-messages": ("Switch off what {inverter} runs: the battery cuts out in about {hours} h, {label} with it; "
                                    "then no more messages come. Falling since {since}.",
                                    "Switch off what {inverter} runs: the battery cuts out in about {hours} h, then no more "
                                    "messages come. Falling since {since}."),
        "hours-messages": ("Switch off what you can do without: the battery cuts out in about {hours} h, {label} with it, "
                           "since {since}; then no more messages come.",
                           "Switch off what you can do without: the battery cuts out in about {hours} h, then no more messages "
                           "come. Falling since {since}."),
        "inverter-messages": ("Switch off what {inverter} runs: the battery nears its cut-off, hours left unknown, {volts} V "
                              "since {since}; then no more messages come.",
                              "Switch off what {inverter} runs: the battery nears its cut-off, {volts} V since {since}; then no "
                              "more messages come."),
        "messages": ("Switch off what you can do without: battery near its cut-off, hours left unknown, {volts} V since "
                     "{since}; then no more messages come.",
                     "Switch off what you can do without: the battery nears its cut-off, {volts} V since {since}; "
                     "then no more messages come."),
        "hours-cold": ("Warm the battery before charging: {bank} °C is too cold to take charge. It cuts out in about {hours} h, "
                       "{label} with it, since {since}.",
                       "Warm the battery before charging: {bank} °C is too cold for it. It cuts out in about {hours} h, since "
                       "{since}."),
        "cold": ("Warm the battery before charging: {bank} °C is too cold to take charge. It nears its cut-off, {volts} V since "
                 "{since}.",),
        "hours-cold-messages": ("Warm the battery before charging: {bank} °C is too cold for it. It cuts out in about {hours} h, "
                                "since {since}; then no more messages come.",),
        "cold-messages": ("Warm the battery before charging: {bank} °C is too cold for it. It nears its cut-off, {volts} V since "
                          "{since}; then no more messages.",),
    },
    "drain-outside-hours": {
        "ac": ("Is something at {label} meant to be on? If not, unplug it: {watts} W since {since}, outside its hours.",),
        "cold": ("Look at {label}'s display: it draws {watts} W since {since}, outside its hours.",),
        "burner": ("Is {label} meant to be on? If not, turn it off at its own control: {watts} W since {since}.",),
        "detector": ("Ask the fitter about {label}: it draws {watts} W since {since}, more than at rest.",),
        "medical": ("Ask whoever needs {label}: it draws {watts} W since {since}, more than at rest.",),
        "sump": ("Look at the water by {label} yourself: it draws {watts} W since {since}, outside its hours.",),
        "carrier": ("Ask the fitter about {label}: it draws {watts} W since {since}, outside its hours.",),
        "charger": ("Look at {label}'s display: it draws {watts} W since {since}, outside its hours.",),
        "*": ("Is {label} meant to be on? If not, switch it off: {watts} W since {since}, outside its hours.",),
    },
    "drain-above-standby": {
        "ac": ("Is something left on at {label}? It draws {watts} W since {since}, doing nothing listed. Unplug it.",),
        "detector": ("Ask the fitter about {label}: it draws {watts} W since {since}, more than at rest.",),
        "medical": ("Ask whoever needs {label}: it draws {watts} W since {since}, more than at rest.",),
        "sump": ("Look at {label} yourself: it draws {watts} W since {since}, too little to pump, too much to rest.",),
        "*": ("Look what was left on at {label}: it draws {watts} W since {since}, more than at rest.",),
    },
    "drain-idling": {
        "detector": ("Ask the fitter about {label}: it draws {watts} W since {since} with nothing running from it.",),
        "medical": ("Ask whoever needs {label}: it draws {watts} W since {since} with nothing running from it.",),
        "sump": ("Look at the water by {label} yourself: it draws {watts} W since {since} with nothing running from it.",),
        "carrier": ("Ask the fitter about {label}: it draws {watts} W since {since} with nothing running from it.",),
        "burner": ("Is {label} meant to be on? If not, turn it off at its own control: {watts} W since {since}.",),
        "ac": ("Is {label} meant to be on? If not, unplug it: {watts} W since {since} with nothing running from it.",),
        "*": ("Is {label} meant to be on? If not, switch it off: {watts} W since {since} with nothing running from it.",),
    },
    "unassigned": {
        "*": ("Look for something not on the panel list: {amps} A flows that no circuit accounts for, since {since}.",),
        "with": ("Have {label} looked at: {amps} A flows that no circuit accounts for, and it goes with it, since {since}.",),
    },
    "unassigned-over": {
        "*": ("Nothing to do: the circuits account for what the battery gives again, since {at}.",),
    },
    "silent-circuit": {
        "*": ("Look at {label} yourself: no readings for {lasting}, since {since}. It may or may not have power; from here "
              "nobody can tell.",
              "Look at {label} yourself: no readings for {lasting}, since {since}. From here nobody can tell."),
    },
    "silent-monitor": {
        "*": ("Nobody can see {count} circuits: no readings from {place} for {lasting}, since {since}. They may be working; "
              "look at what must.",
              "Nobody can see {count} circuits: no readings since {since}. They may be working; look at what must."),
    },
    "silent-monitor-said": {
        "*": ("Nobody can see {count} circuits: {place} said at {since} that it goes. They may be working; look at what must.",),
    },
    "silent-broker": {
        "afar": ("Look at the link of the watch from afar: its broker is away for {lasting}, since {since}. Till then nobody there "
                 "hears {vehicle}.",
                 "Look at the link of the watch from afar: its broker is away since {since}. Nobody there hears {vehicle}."),
        "*": ("Nobody can see {count} circuits: the broker is away for {lasting}, since {since}. They may be working; "
              "look at what must.",),
    },
    "silent-vehicle": {
        "*": ("Go and look, or ring: no word from {vehicle} for {lasting}, since {since}. Battery, computer or phone link; from "
              "here nobody can tell.",
              "Go and look, or ring: no word from {vehicle} since {since}. From here nobody can tell why."),
    },
    "vehicle-back": {
        "*": ("Look at {vehicle} when you are there: word from it again since {at}, after {lasting}. Why it was silent is not known.",
              "Look at {vehicle} when you are there: word from it again since {at}. Why it was silent is not known."),
    },
    "readings-back": {
        "afar": ("Nothing to do: the watch from afar has its broker back since {at}, after {lasting}. It listens for {vehicle} again.",
                 "Nothing to do: the watch from afar has its broker back since {at}. It listens for {vehicle} again."),
        "*": ("Readings from {place} are back since {at}, after {lasting}. What happened in between is not known.",),
    },
    "readings-late": {
        "*": ("Readings from {place} are back since {at}, after {lasting}. Those of the time between come in late.",),
    },
    "life-back": {
        "cold": ("Check the contents before use: {label} draws again since {at}, after {lasting} without power.",),
        "detector": ("Press {label}'s own test button: it draws again since {at}, after {lasting}.",),
        "*": ("Look at {label} once: it draws again since {at}, after {lasting}.",),
    },
    "parent-back": {
        "*": ("Look at {label} first: {count} circuits may have power again since {at}, after {lasting}.",),
    },
    "cut-off-past": {
        "*": ("Nothing to do: the battery is above its cut-off since {at}, at {volts} V.",),
    },
    "suspect-scale": {
        "*": ("Don't trust {label}'s figures: {amps} A can't be, since {since}. Have its unit or scale checked.",),
    },
    "suspect-watts": {
        "*": ("Don't trust {label}'s figures: its watts are not its volts times its amps, since {since}. Have them checked.",),
    },
    "suspect-backwards": {
        "detector": ("Press {label}'s own test button: its readings run backwards since {since}. From here nobody can tell.",),
        "*": ("Have {label}'s sensor turned round: it reads {amps} A, backwards, since {since}.",),
    },
    "suspect-back-feed": {
        "*": ("Have {label} checked: current flows backwards, {amps} A since {since}. It may stay live with its {word} out.",),
    },
    "suspect-stuck": {
        "detector": ("Press {label}'s own test button: its readings stand still since {since}. From here nobody can tell.",),
        "*": ("Ignore the figure of {label} for now: its sensor has shown exactly {amps} A since {since}.",),
    },
    "suspect-sensor-failed": {
        "detector": ("Press {label}'s own test button: its readings show nothing since {since}, the battery's meter goes on.",),
        "medical": ("Go to {label} and see that it runs: its sensor shows nothing since {since}, the battery's meter still its "
                    "{amps} A.",
                    "Go to {label} and see that it runs: its sensor shows nothing since {since}."),
        "*": ("Look at {label} once: its sensor shows nothing since {since}, the battery's meter still shows its {amps} A.",),
    },
    "suspect-saturated": {
        "detector": ("Press {label}'s own test button: its meter stands at its most since {since}. From here nobody can tell.",),
        "*": ("Have {label}'s meter looked at: it stands at its most, {amps} A, since {since}. What flows may be more.",),
    },
    "suspect-swapped": {
        "*": ("Don't trust the names {label} and {other}: their readings look swapped since {since}. Have them checked.",),
        "several": ("Don't trust the names of {count} circuits, {label} and {other} among them: their readings look swapped "
                    "since {since}.",
                    "Don't trust the names of {count} circuits, {label} among them: their readings look swapped since {since}."),
    },
    "plausible": {
        "*": ("Nothing to do: {label}'s readings make sense again since {at}.",),
    },
    "clock-step": {
        "*": ("Nothing to do: {label}'s readings carry another time, {step} s off since {since}. Ours is used.",),
    },
    "withdrawn": {
        "*": ("Nothing to do: {label} is no longer watched for this since {at}, as its schedule or record changed.",
              "Nothing to do: {label} is no longer watched for this since {at}."),
        "matters": ("Look at {label} yourself: it is no longer watched for this since {at}. What was told before may still be so.",),
        "parent": ("Look at {label} yourself: {place} is no longer watched for this since {at}. What was told before may still be so.",
                   "Look at {label} yourself: {place} is no longer watched since {at}. What was told may still be so."),
    },
    "drill": {
        "afar": ("From afar, nothing to do: test message about {vehicle}, sent {at}; its last sign came {lasting} ago. Its own test "
                 "comes apart.",
                 "From afar, nothing to do: test message about {vehicle}, sent {at}; its last sign came {lasting} ago."),
        "afar-unheard": ("From afar, look at {vehicle} or ring: test message, sent {at}; no sign comes from there. It proves the way to this "
                         "phone alone.",
                         "From afar, look at {vehicle} or ring: test message, sent {at}; no sign comes from there."),
        "*": ("Nothing to do: test message from {vehicle}, sent {at}. It shows that alarms reach this phone.",),
    },
    "unsent": {
        "*": ("Ask {place} by another way: no message has reached that address since {since}. Its line in people.toml may be wrong.",
              "Ask {place} by another way: no message has reached that address since {since}."),
    },
    "unsent-over": {
        "*": ("Nothing to do: messages reach {place} again since {at}.",),
    },
    "unread": {
        "*": ("Give {place} to the watch's user: since {since} it can't be read, and nobody named in it is told.",),
    },
    "unread-over": {
        "*": ("Nothing to do: {place} can be read again since {at}, and who is named in it is told.",),
    },
    "unwritten": {
        "aboard": ("From afar, look at the disk of {vehicle}'s computer when there: it could write nothing since {since}. Its alarms come, "
                   "but aren't kept.",
                   "From afar, look at the disk of {vehicle}'s computer when there: it could write nothing since {since}."),
        "*": ("Look at the disk of the watch's computer: nothing could be written since {since}. Alarms still come, but aren't kept.",),
    },
    "unwritten-over": {
        "aboard": ("Nothing to do: the computer of {vehicle} writes its journal again since {at}.",),
        "*": ("Nothing to do: the watch's disk takes its journal again since {at}.",),
    },
    "over": {
        "*": ("Nothing to do: {label} no longer draws too much since {at}.",),
        "drain": ("Nothing to do: {label} stands by again since {at}.",),
        "rhythm": ("Nothing to do: {label} runs as usual again since {at}.",),
        "level": ("Nothing to do: {label} draws as listed again since {at}.",),
        # A draw that ends a stall is a hand's or the device's: from here nobody can tell.
        "stalled": ("Nothing to do while {label} runs: it no longer stalls since {at}. If it won't start, its {word} may have "
                    "cut off: ring the fitter.",
                    "Nothing to do while {label} runs: it no longer stalls since {at}. If it won't start, its {word} may have "
                    "cut off.",),
        "record": ("Nothing to do: {label} draws as on record again since {at}.",),
    },
    "off-stalled": {
        "sump": ("Look at the water by {label} yourself: its motor is stalled at {amps} A, since {since}. Ring the fitter.",),
        "medical": ("Ring whoever needs {label} now: its motor is stalled at {amps} A, since {since}.",),
        "carrier": ("Ring the fitter about {label}: stalled at {amps} A, since {since}. Without it no more messages come.",),
        "ac": ("Unplug {label} now: its motor is stalled at {amps} A, since {since}. Let it cool before another try.",),
        "burner": ("Leave {label} alone, vents clear: its motor is stalled at {amps} A, since {since}. Ring the fitter.",),
        "cold": ("Look at {label}'s display, ring the fitter: its motor is stalled at {amps} A, since {since}.",),
        "detector": ("Ring the fitter about {label}: its motor is stalled at {amps} A, since {since}.",),
        "kept": ("Ring the fitter about {label}: its motor is stalled at {amps} A, since {since}.",),
        "*": ("Switch {label} off now: its motor is stalled at {amps} A, since {since}. Let it cool before another try.",),
        "motor": ("Let go of {label} now: its motor is stalled at {amps} A, since {since}. Let it cool before another try.",),
    },
    "off-runs-dry": {
        "sump": ("Look at the water by {label} yourself: it seems to run dry, {amps} A since {since}. Its float may be stuck.",),
        "medical": ("Ring whoever needs {label} now: it seems to run dry, {amps} A since {since}.",),
        "carrier": ("Ring the fitter about {label}: it seems to run dry, {amps} A since {since}.",),
        "ac": ("Unplug {label}: it seems to run dry, {amps} A since {since}. Look at the tank.",),
        "burner": ("Turn {label} off at its own control: it seems to run dry, {amps} A since {since}.",),
        "*": ("Switch {label} off at the panel switch: it seems to run dry, {amps} A since {since}. Look at the tank.",),
    },
    "off-fails-to-start": {
        "sump": ("Look at the water by {label} yourself: it tries to start again and again, {tries} times since {since}.",),
        "cold": ("Look at {label}'s display, keep it shut: it tries to start again and again, {tries} times since {since}.",),
        "medical": ("Ring whoever needs {label} now: it tries to start again and again, {tries} times since {since}.",),
        "carrier": ("Ring the fitter about {label}: it tries to start again and again, {tries} times since {since}.",),
        "ac": ("Unplug {label}, look what blocks it: it tries to start again and again, {tries} times since {since}.",),
        "burner": ("Leave {label} alone, vents clear: it tries to start again and again, {tries} times since {since}.",),
        "kept": ("Look what blocks {label}, ring the fitter: it tries to start again and again, {tries} times since {since}.",),
        "*": ("Switch {label} off, look what blocks it: it tries to start again and again, {tries} times since {since}.",),
    },
    "off-fails-to-light": {
        "*": ("Leave {label} off at its own control: it glowed {tries} times without burning, since {since}. Have it looked at.",),
    },
    "off-no-glow": {
        "*": ("Look at {label}'s display: it started at {since} without its glow and stopped. Was it its fan alone: nothing to do.",),
    },
    "off-part-open": {
        "ac": ("Have {label} looked at, unplugged: it draws {amps} A since {since}, too little. Part of it may be open.",),
        "*": ("Have {label} looked at: it draws {amps} A since {since}, less than listed. Part of it may be open.",),
    },
    "departed-needs-more": {
        "*": ("Plan to service {label}: it needs {percent} % more power than when new. Seen since {since}.",),
    },
    "departed-needs-more-soon": {
        "*": ("Plan to service {label}: it needs {percent} % more power than when new; +30 % in about {weeks} weeks. Since {since}.",),
    },
    "departed-needs-less": {
        "*": ("Have {label} looked at: it needs {percent} % less power than when new. Seen since {since}.",),
    },
    "off-more-than-listed": {
        "*": ("Look what is new at {label}: it draws {watts} W steadily since {since}, more than is listed for it.",),
        "turns": ("Have {label} looked at: it draws {watts} W steadily since {since}, more than is listed. It may turn hard.",),
    },
    "rhythm-overlong": {
        "ac": ("Is something at {label} meant to run so long? If not, unplug it: {watts} W for {ran}, since {since}.",),
        "cold": ("Check {label}'s door, then its display: it has run {ran} without a rest, since {since}.",),
        "burner": ("Is {label} meant to run so long? If not, turn it down at its own control: {ran}, since {since}.",),
        "detector": ("Ask the fitter about {label}: it has drawn more than at rest for {ran}, since {since}.",),
        "medical": ("Ask whoever needs {label}: it has run {ran}, longer than listed, since {since}.",),
        "sump": ("Look at the water by {label} yourself: it has run {ran} without a stop, since {since}.",),
        "carrier": ("Ask the fitter about {label}: it has run {ran}, longer than listed, since {since}.",),
        "charger": ("Look at {label}'s display: it has run {ran}, longer than listed, since {since}.",),
        "pump": ("Look at {label} now: it has run {ran} without a stop, since {since}. No tap open: switch it off at the "
                 "panel switch.",
                 "Look at {label} now: it has run {ran}, since {since}. No tap open: switch it off at the panel switch."),
        "*": ("Is {label} meant to run so long? If not, switch it off: {ran} without a stop, since {since}.",),
    },
    "rhythm-run": {
        "cold": ("Check {label}'s door: it has run {ran} without a rest, since {since}. Warm goods put in: nothing to do.",
                 "Check {label}'s door: it has run {ran} without a rest, since {since}."),
        "*": ("Look at {label}: it has run {ran} without a rest, since {since}. Its door or lid first.",),
    },
    "rhythm-ajar": {
        "*": ("Check {label}'s door: it has run {ran} since {since}, and its inside gets no colder.",),
    },
    "rhythm-weak": {
        "cold": ("Look into {label}, feel its vents: it carries {percent} % of the heat it should, since {since}. Ice? Dust?",
                 "Look into {label}, feel its vents: it carries {percent} % of the heat it should, since {since}."),
        "*": ("Have {label} looked at: it carries {percent} % of the heat it should, since {since}.",),
    },
    "rhythm-high": {
        "cold": ("Check {label}'s door and vents: it ran {percent} % of the last {window} h, since {since}.",),
        "burner": ("Look at {label}'s own control: it ran {percent} % of the last {window} h, since {since}.",),
        "detector": ("Ask the fitter about {label}: it drew its most {percent} % of the last {window} h, since {since}.",),
        "medical": ("Ask whoever needs {label}: it ran {percent} % of the last {window} h, more than listed, since {since}.",),
        "sump": ("Look at the water by {label} yourself: it ran {percent} % of the last {window} h, since {since}.",),
        "pump": ("Look at {label} and the taps: it ran {percent} % of the last {window} h, since {since}.",),
        "*": ("Look at {label}: it ran {percent} % of the last {window} h, more than listed for it, since {since}.",),
    },
    "rhythm-habit": {
        "cold": ("Check {label}'s door, ice and vents: it ran {percent} % of the last {window} h, more than it used to, "
                 "since {since}.",),
        "*": ("Look at {label}: it ran {percent} % of the last {window} h, more than it used to, since {since}.",),
    },
    "rhythm-door-open": {
        "cold": ("Check {label}'s door: it has run far more than it used to since {since}, and came to it at once.",),
        "*": ("Check {label}'s door: it has run far more than it used to since {since}.",),
    },
    "rhythm-hot-load": {
        "*": ("Look at {label} once: it runs more since {since}, and eases off. Warm goods put in: nothing to do.",),
    },
    "rhythm-iced": {
        "*": ("Look for ice in {label}: it runs more and more since {since}, at {watts} W. Thick: empty and defrost it.",),
    },
    "rhythm-condenser-blocked": {
        "*": ("Clear the vents of {label}: it runs more than it used to since {since}, and at more power, {watts} W.",),
    },
    "rhythm-charge-lost": {
        "cold": ("Move what must stay cold from {label}, ring the fitter: it runs and hardly cools since {since}, {watts} W.",
                 "Empty {label}, ring the fitter: it runs and hardly cools since {since}, {watts} W."),
        "*": ("Ring the fitter about {label}: it runs and hardly cools since {since}, at {watts} W.",),
    },
    "rhythm-off-warms": {
        "*": ("Check that {label} is switched on: no cooling for {rests}, since {since}. Warm inside in about {hours} h.",),
    },
    "rhythm-off": {
        "medical": ("Ask whoever needs {label}: it has not cooled for {rests}, since {since}.",),
        "*": ("Check that {label} is switched on: it has not cooled for {rests}, since {since}.",),
    },
    "rhythm-low": {
        "cold": ("Look at {label}'s display: it has hardly run since {since}, {window} h. Dark: no power. Lit: turned down?",),
        "medical": ("Ask whoever needs {label}: it has hardly run since {since}, {window} h.",),
        "sump": ("Look at the water by {label} yourself: it has hardly run since {since}, {window} h.",),
        "*": ("Look at {label}: it has hardly run since {since}, {window} h. Switched or turned down?",),
    },
    "rhythm-low-warm": {
        "cold": ("Look at {label}'s display: it has hardly run since {since}, {window} h, though it is warm outside. Dark: no "
                 "power. Lit: turned down?",
                 "Look at {label}'s display: it has hardly run since {since}, {window} h, in warm weather. Dark: no power."),
        "*": ("Look at {label}: it has hardly run since {since}, {window} h, though it is warm outside.",),
    },
    "rhythm-low-frost": {
        "medical": ("Ask whoever needs {label}: it has hardly run since {since}, {window} h, at {outside} °C outside.",),
        "*": ("Look at {label} and its switch: it has hardly heated since {since}, {window} h, at {outside} °C outside.",),
    },
    "rhythm-short": {
        "cold": ("Look at {label}'s display, feel its vents: it starts and stops every {every} since {since}. Have it looked at.",),
        "*": ("Have {label} looked at: it starts and stops every {every} since {since}.",),
    },
    "rhythm-low-volts-at-start": {
        "*": ("Have {label}'s supply checked: it starts and stops every {every} since {since}, and drops to {volts} V as it "
              "starts.",),
    },
    "rhythm-leak": {
        "pump": ("Switch {label} off, look for a leak: it ran {starts} times, every {every}, with no tap open, since {since}.",),
        "*": ("Look for a leak at {label}: it ran {starts} times, every {every}, with no tap open, since {since}.",),
    },
    "rhythm-sump": {
        "medical": ("Look for water at {label}: it ran {starts} times in {within}, since {since}.",),
        "*": ("Look at the water by {label} yourself: it ran {starts} times in {within}, since {since}.",),
    },
}  # fmt: skip

# Evidence in words. {…} are figures of the fact.
EVIDENCE: dict[str, str] = {
    "vehicle-silent": "No sign of life came over the broker for {hours} h.",
    "vehicle-low": "Its last word was that its battery nears its cut-off",
    "vehicle-gone": "The broker said that its connection was lost; no sign of life came since",
    "not-written": "Writing failed again and again for a minute: what is found is held in memory until it works",
    "not-reached": "Messages to it were refused, or not taken for an hour",
    "people-unread": "The file that says who is told could not be opened by the user that watches",
    "draw-of-rating": "It draws {amps} A; its {word} is rated {rating_a} A.",
    "heat-of-device": "Heat of its device: {slowest} of its opening heat if it is the slowest of its type, "
                      "{quickest} if the quickest.",
    "opened-early": "It opened {openings} times at a steady draw, the last time {draw_a} A, which any listed {rating_a} A fuse "
                    "carries; no dip, start or missing reading was seen.",
    "carried-too-much": "It drew more than its {rating_a} A for {carried_for_s} s, {draw_a} A at the end: with the meter's error "
                        "taken off and the cold allowed for, no fuse of that rating that goes into its holder can do that.",
    "panel-warmth": "The panel is at {celsius} °C: there the device carries {carries_a} A for ever at the least.",
    "conductor-warmth": "Its conductor is reckoned at {celsius} °C of {rated_c} °C; it may carry {ampacity_a} A in its place "
                        "({rule}).",
    "draw-over-standby": "It draws {watts} W; standing by it may draw {standby_w} W.",
    "stood-on-record": "Standing by it drew {standby_w} W by the record and its first days; now {rise_a} A more, hour after hour.",
    "stood-at-first": "Standing by it drew {standby_w} W in its first days; now {rise_a} A more, hour after hour.",
    "outside-hours": "The schedule gives it the hours {hours}.",
    "longest-run": "The schedule allows a run of {longest_min} min.",
    "run-beyond-its-own": "It has run {minutes} min; its middle run of late is {usual} min.",
    "duty-high": "It ran {percent} % of the last {window} h; in this weather at most {limit} % is listed.",
    "duty-low": "It ran {percent} % of the last {window} h; in this weather at least {least} % is listed.",
    "outside-warmth": "Outside it was {celsius} °C.",
    "duty-over-habit": "It ran {percent} % of the last 16 h at {celsius} °C outside; its own first weeks say {habit} %.",
    "cools-at": "By the lengths of its rests and runs it carries {percent} % of the heat that it should in this weather.",
    "cools-less": "Its rests say that no more comes in; its runs take longer all the same",
    "air-stays-warm": "A probe in it shows air that does not get colder while it runs",
    "rests-too-long": "It has rested {minutes} min; its middle rest of late is {usual} min.",
    "runs-at-its-watts": "It runs at the watts it always ran at",
    "runs-at-more-watts": "It runs at more watts than it used to",
    "runs-at-fewer-watts": "It runs at somewhat fewer watts than it used to",
    "runs-at-far-fewer-watts": "It runs at far fewer watts than it used to",
    "came-at-once": "It came at once",
    "crept-up": "It crept up over more than a third of a day",
    "lasts-half-a-day": "It has lasted half a day",
    "eases-off": "It eases off",
    "still-rests": "It still rests between its runs",
    "never-rests": "It has not rested for four hours",
    "short-cycles": "Its last {runs} runs took {seconds} s on average; its volts held as it started.",
    "short-cycles-low": "Its last {runs} runs took {seconds} s on average; its volts fell to {volts} V as it started.",
    "short-cycles-unmeasured": "Its last {runs} runs took {seconds} s on average; no volts were measured as it started.",
    "volts-of-the-bus": "Those volts are the bus's: its own cable may drop more",
    "leak-down": "{starts} runs of about {seconds} s, evenly every {minutes} min, and none longer between them.",
    "sump-runs": "{starts} runs in {minutes} min, with no water pump running before them.",
    "warms": "Inside it was {inside} °C, outside {outside} °C: about {hours} h until {limit} °C, reckoned for a store of "
             "80 kJ/K behind walls of 1 W/K, both assumed.",
    "between-levels": "Its lowest level begins at {lowest_w} W: this is neither standby nor its job.",
    "draw-of-level": "It draws {amps} A, {times} times its highest listed draw of {level_a} A, for longer than it starts.",
    "tries-at-a-pace": "{tries} short tries, one every {pace_s} s, and no run between them.",
    "fails-to-light": "It glowed {phases} times within the hour and never burned between.",
    "no-glow": "A start after a long rest ended within ten minutes, without the glow that lit it the time before",
    "of-the-record": "On record it drew {watts} W in its level {level}, at the supply's nominal volts; now {now_w} W.",
    "unnamed-level": "Unnamed level at {amps} A: {watts} W, reckoned at the supply's nominal volts; its levels end at {limit_w} W.",
    "volts-explain-not": "Its volts, {volts} V, do not explain it: its watts go with the volts to the {low} to {high}.",
    "nothing-runs": "Of the {circuits} circuits that it feeds none draws anything.",
    "beyond-its-circuits": "The battery's meter shows {amps} A more than its {circuits} circuits together; {error_a} A of that could "
                           "be their gains and zeros.",
    "goes-with": "The meter steps by more than {of} does whenever that is switched: something hangs before its sensor.",
    "bank-days": "From full, the bank lasts {days} days at {draw_a} A.",
    "bank-days-without": "Without this, {days} days.",
    "shows-nothing": "{before_a} A before, then nothing {readings}; it always draws {floor_w} W.",
    "shows-nothing-floorless": "{before_a} A before, then nothing {readings}.",
    "switch-reported-off": "Its switch reports off",
    "switch-reported-on": "Its switch reports on",
    "output-off-unasked": "Its electronic output reports off, and no command was seen",
    "commanded-off": "A command to switch off was seen shortly before",
    "over-latest": "It drew longer than the slowest fuse or breaker of its type carries",
    "far-over-rating": "It drew far over the rating shortly before",
    "over-rating": "It drew over the rating shortly before",
    "near-rating-in-heat": "It drew near the rating, in a hot panel, shortly before",
    "ordinary-before": "It drew nothing unusual shortly before",
    "over-own-fuse": "It drew over the rating of the fuse in its own lead",
    "low-volts-before": "Its volts were low shortly before",
    "ample-volts-before": "It had ample volts shortly before",
    "flickered-before": "Its draw flickered before, while the bus did not dip",
    "no-volts-beside": "Others behind the same feeder or main switch have no volts either",
    "on-without-volts": "Its switch still reported on after the volts behind it went",
    "feeder-lives": "Others on its feeder draw",
    "supply-lives": "Others on its supply draw",
    "meter-fell-too": "The battery's meter fell by as much",
    "meter-goes-on": "The battery's meter still shows its draw",
    "idle-too-long": "It has rested longer than in a thousand of its rests",
    "readings-fresh": "Its readings are fresh",
    "near-its-cut-off": "The bus stood near its cut-off in the last ten minutes",
    "far-from-cut-off": "The battery was not near its cut-off before",
    "bus-has-volts": "The bus has volts",
    "bus-without-volts": "The bus has no volts",
    "bus-low": "The bus has too few volts",
    "others-live": "Others of the supply draw",
    "volts-high-before": "The bus stood high shortly before",
    "source-heavy-before": "What feeds it drew heavily shortly before",
    "source-light-before": "What feeds it drew little shortly before",
    "bus-dipped": "The bus dipped shortly before",
    "bus-dipped-at-once": "The bus dipped as it stopped, and came back",
    "bus-dipped-deep": "The bus dipped deep shortly before, and came back",
    "floor-gone": "Even what it always draws is not seen",
    "no-volts-after-device": "No volts behind its device, while the bus has them",
    "no-volts-after-switch": "No volts behind its switch, while the bus has them",
    "no-volts-at-load": "No volts at the load, while the bus has them",
    "volts-after-device": "There are volts behind its device",
    "volts-after-switch": "There are volts behind its switch",
    "volts-at-load": "There are volts at the load",
    "stopped-together": "{circuits} circuits stopped together; the bus stood at {bus_v} V.",
    "stopped-together-unmeasured": "{circuits} circuits stopped together.",
    "near-cutoff": "The bus stands at {volts} V; it is cut off at {cutoff_v} V.",
    "rest-volts": "Without its load it would stand at {rest_v} V: behind {mohm} mΩ, by its last {steps} steps.",
    "charge-counted": "Counted since it was full {days} days ago: by the capacity on record {left_ah} Ah are left, {error_ah} Ah "
                      "taken off for what the meter may be wrong; {draw_a} A are drawn.",
    "charge-unknown": "How much is left is not known: its meter has not seen it full in the last three weeks, or not surely "
                      "enough since",
    "charge-not-counted": "How much is left is not known: no meter counts it, and its volts do not tell",
    "messages-go": "After it no more messages come: {carriers} carries them.",
    "bank-cold": "The bank is at {celsius} °C: below 5 °C lithium takes no charge, whatever sun or charger give.",
    "volts-fall": "It falls by {v_per_h} V an hour over the last {minutes} min.",
    "unheard-meanwhile": "While it is away the vehicle's signs of life can't be heard: its silence is not counted",
    "silence": "No reading for {seconds} s; one was expected every {every_s} s.",
    "silence-unmeasured": "No reading for {seconds} s.",
    "suspect-scale": "{readings} readings in a row of {draw_a}: more than its supply can give, or a bus far above its nominal.",
    "suspect-watts": "In {readings} readings in a row its watts were not its volts times its amps.",
    "suspect-backwards": "{readings} readings in a row below nothing, and it has never drawn like a load.",
    "suspect-back-feed": "{readings} readings in a row below nothing; before, it drew like a load.",
    "suspect-stuck": "{readings} readings in a row the same to the last digit, while the bus moved by more than that shows.",
    "suspect-unmoved": "The battery's meter fell by {fell_a} A and stayed there, while it went on showing {draw_a} A to the "
                       "last digit.",
    "suspect-saturated": "{readings} readings in a row at the most that its meter can show, {draw_a} A: it is this or more.",
    "at-full-scale": "Its meter shows {full_a} A at the most: it draws this or more.",
    "suspect-swapped": "Their readings of the last {hours} h fit one another's names better than their own.",
    "swapped-channel": "What is named {of} draws about {watts} W when it runs, as {fits} would.",
    "names-swapped": "The readings of {circuits} look swapped: what is said of one may be about another.",
    "said-gone": "Its last word, left with the broker for this case, says that it went",
    "under-work": "Somebody works on it, {who}, until {until_s}.",
    "flood": "More than 10 messages within 10 min: until it calms, one message tells of all, at most every 10 min",
    "flood-kind": "{count} of the kind {what}.",
    "flood-over": "{count} more are over or put aside.",
    "clock-step": "The time in its readings and the time of their arrival differ by {seconds} s for three readings in a row.",
}  # fmt: skip

CAUSES = {
    "switched-off": "switched off",
    "switched-off-at-load": "its own switch",
    "device-opened": "its fuse or breaker",
    "feeder-lost": "its feeder",
    "supply-lost": "what feeds the panel",
    "rests": "it rests",
    "load-failed": "the load itself",
    "wiring-open": "the wiring",
    "sensor-failed": "the sensor",
    "link-lost": "no readings",
    "old-message": "an old message",
    "turned-down": "turned down at its own control",
    "own-fuse": "the fuse in its own lead",
    "lock-out": "its own stop at low volts",
    "source-limited": "its source shut itself off",
    "low-volts": "too few volts on the bus",
    "low-voltage-disconnect": "the low-battery cut-off",
    "isolator": "the main switch",
    "battery-protection": "the battery's own protection",
    "unknown": "not known",
    "door-open": "its door or lid",
    "hot-load": "warm goods put in",
    "iced": "ice on its evaporator",
    "condenser-blocked": "blocked vents",
    "charge-lost": "its cooling charge",
    "low-volts-at-start": "low volts as it starts",
    "leak-down": "a leak",
    "water-comes-in": "water that comes in",
}

# Two causes that can't be told apart from here, and what tells them apart by looking and listening.
EITHER_OR: dict[tuple[str, str], str] = {
    ("device-opened", "switched-off"): "Its {word} or a switch: look at the panel switch first.",
    ("device-opened", "switched-off-at-load"): "Its {word} or its own switch: look at the switch first.",
    ("device-opened", "load-failed"): "Its {word} or itself: if a lamp on it is lit, it has power.",
    ("device-opened", "wiring-open"): "Its {word} or its wiring: leave both to the fitter.",
    ("device-opened", "own-fuse"): "A {word} in the panel or in its lead: ring the fitter.",
    ("device-opened", "sensor-failed"): "Its {word}, or only the sensor: look and listen if it runs.",
    ("device-opened", "lock-out"): "Its {word}, or too few volts: its display tells.",
    ("device-opened", "feeder-lost"): "Its {word} or its feeder: look if others on it run.",
    ("load-failed", "switched-off"): "Itself or a switch: look at the panel switch first.",
    ("load-failed", "switched-off-at-load"): "Itself or its own switch: look at the switch first.",
    ("load-failed", "wiring-open"): "Itself or its wiring: if a lamp on it is lit, it has power.",
    ("load-failed", "own-fuse"): "Itself or its own fuse: leave both to the fitter.",
    ("load-failed", "sensor-failed"): "Itself, or only the sensor: look and listen if it runs.",
    ("load-failed", "lock-out"): "Itself, or too few volts: its display tells.",
    ("switched-off", "switched-off-at-load"): "A switch: look at the panel switch, then at its own.",
    ("own-fuse", "wiring-open"): "Its own fuse or its wiring: leave both to the fitter.",
    ("own-fuse", "sensor-failed"): "Its own fuse, or only the sensor: look and listen if it runs.",
    ("own-fuse", "switched-off"): "A switch or its own fuse: look at the panel switch first.",
    ("lock-out", "own-fuse"): "Its own fuse, or too few volts: its display tells.",
    ("switched-off-at-load", "wiring-open"): "Its own switch or its wiring: look at the switch first.",
    ("switched-off", "wiring-open"): "A switch or its wiring: look at the panel switch first.",
    ("sensor-failed", "wiring-open"): "Its wiring, or only the sensor: look and listen if it runs.",
    ("own-fuse", "switched-off-at-load"): "Its own switch or its own fuse: look at the switch first.",
    ("sensor-failed", "switched-off-at-load"): "Its own switch, or only the sensor: look and listen if it runs.",
}
EITHER_PARENT: dict[tuple[str, str], str] = {  # what took several circuits together
    ("isolator", "supply-lost"): "The main switch or the battery's side of it: look at the main switch first.",
    ("isolator", "low-voltage-disconnect"): "The main switch or the low-battery cut-off: look at the main switch first.",
    ("battery-protection", "isolator"): "The main switch or the battery's own protection: look at the main switch first.",
    ("battery-protection", "supply-lost"): "The battery's own protection or its fuse: leave both to the fitter.",
    ("supply-lost", "switched-off"): "What feeds it was switched off or gives nothing: its switch and its display tell.",
    ("source-limited", "switched-off"): "What feeds it was switched off or shut itself off: its display tells.",
    ("source-limited", "supply-lost"): "What feeds it shut itself off or has no feed: its display tells.",
    ("isolator", "switched-off"): "A switch took them: look at the main switch, then ask who switched off.",
}
EITHER_PARENT_OTHER = "Look at the main switch first; leave the rest to the fitter."
EITHER_COLD: dict[tuple[str, str], str] = {  # what makes a compressor run more
    ("door-open", "hot-load"): "Door or warm goods: if nothing warm was put in, look at the door and its seal.",
    ("door-open", "iced"): "Door or ice: look at the seal, then for thick ice inside.",
    ("condenser-blocked", "door-open"): "Door or vents: look at the seal, then feel if its vents are hot.",
    ("charge-lost", "door-open"): "Door or its cooling charge: if the door shuts and it stays warm inside, ring the fitter.",
    ("hot-load", "iced"): "Warm goods or ice: warm goods are over in half a day; look for thick ice.",
    ("condenser-blocked", "hot-load"): "Warm goods or vents: warm goods are over in half a day; feel if its vents are hot.",
    (
        "charge-lost",
        "hot-load",
    ): "Warm goods or its cooling charge: if it is still warm inside after half a day, ring the fitter.",
    ("condenser-blocked", "iced"): "Ice or vents: look for thick ice inside, then feel if its vents are hot.",
    ("charge-lost", "iced"): "Ice or its cooling charge: thick ice: defrost it; none, and warm inside: ring the fitter.",
    (
        "charge-lost",
        "condenser-blocked",
    ): "Vents or its cooling charge: clear the vents; if it stays warm inside, ring the fitter.",
}
EITHER_COLD_OTHER = "Look at the door and its seal, for thick ice, then feel if its vents are hot."
EITHER_OTHER = "Look at its switch first; if that is on, ring the fitter."
TELL = "To tell: "
LEAVE = "Leave "  # a sentence that begins so: nobody is sent there to look

AT_LEAST = "at least {amps}"
ONCE, TIMES = "once", "{times} times in a row"
PERHAPS = (" Perhaps {other}: names look swapped.", " Names look swapped.")  # after a sentence, where one fits
TOGETHER, APART = "together at", "since"  # how circuits of a flood stopped

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
AGAIN = "Again: "
NOTHING_KNOWN = "not known"
CAUTION = (
    "This watches; it does not protect. Isolate every source before touching a panel; the way's own rating and licensed "
    "practice decide. It is no gas, smoke or CO alarm."
)
FITTER = "fitter"  # a text with this word asks for the fitter's number
RING = ("The fitter: {phone}.", "The fitter, {name}: {phone}.")  # the second where the name is written
INSIDE = "Inside: {celsius} °C."
CHARGE = "Battery: about {percent} %, give or take {error}."
ANSWER = "Answer within a day, on the vehicle's own network: {link}"
MESSAGE_NUMBER = "Message {number}."
WHY = "Why: "
EITHER = "Could be: "

WAITED = {  # why several messages come as one; what matters most stands before it
    "network": "Also, from {since} to {until}, while no message went out:",
    "sleep": "Also, since {since}:",
    "sheet": "Also on the evening sheet of {day}:",
}
MORE = "And {count} more: `panelward alarms` lists them."
ANSWERED = "answered: {what}"
OVERTAKEN = "overtaken by a later message"
