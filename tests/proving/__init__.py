"""The proof: a simulated vehicle with known faults, the watch before it, and a judge that knows the truth.

    python tests/proving/prove.py                    # all of it: about 45 minutes on two cores, never more than 60
    python tests/proving/prove.py --draw             # levels, drains, rhythms and drift alone: about 15 minutes
    python tests/proving/prove.py --only H4 --cases 12
    python tests/proving/prove.py --json             # the figures as one object

**Drawn** (`cases`, `weeks`): families of faults and, for each, its innocent twin (same look, no fault). Each family is a
Latin hypercube by a fixed seed (`sampling`) over severity, load kind, point of the volts, period 1 to 30 s, resolution 1 to
100 mA, noise, zero error, gain, sample or mean, always or on change, loss to 20 % in bursts. `vehicle`, `draws` and `devices`
simulate bank, bus, feeders, devices, loads, sensors and transport; they and the cases share no code with the watch
and import its records alone. Quiet vehicle-weeks are ordinary lives of eight households, of ten one at 10 s and one at 1 s.

**Scored** (`judge`): what is told, not what is thought. A case is due in time after its first reading that shows it: with a
floor within max(60 s, 3 periods), opened under load within 15 s or two readings (on change: a reading and a period), opened at
rest as with a floor, a silence within max(120 s, 10 periods), a
stuck channel within 15 minutes of the change behind it; with "mean" the first, mixed reading does not count. Openings are due
only where they can be known: by a floor, an overload in the readings, volts behind the device, or a dip with it. `top1` is
the last first choice; *it shows* restricts that to cases whose cause the sensing can tell (elsewhere the right answer is an
abstention). Confident and wrong: a cause named that is not the truth, whenever. False: any alarm that is about something
else, before the onset too; of an innocent case any at all. A case in which something besides truly happened, or that
ended before its due time, is void. A floor below five steps of the sensor can't be seen: such cases stand apart. Shares have
Wilson's interval, no events in n weeks are below 3/n. Two plain watchers read the same data (`baselines`). Calibration:
confidence against kind and named cause (false alarms count as wrong), and the first candidate's probability against the truth.

**Stop and go on**: one line an outcome in `proving-out/HASH.jsonl`; HASH is of the watch and of this judge, so a change of
either begins anew, and the same command goes on where it was stopped. A line's `decision` holds what a fit of the
weights needs: evidence with weights, candidates and confidence of the first word about the truth's circuit (else of the
first false one), beside `cause` and `grade`.

**Draws** (`draw_*`): wrong levels, drains, rhythms, drift, each with twins; a truth says which subject, kinds and causes are
right, from when, and by when it is to be told. Told before it began, of another way or as another kind is false. One root
cause, one notice: every opening about it counts. What the sensing can't show stands apart. A third plain watcher knows the
schedule's bands.

**Held out**: `held_out.py` beside this file, written after the weights are frozen by someone who has not read the watch, adds
families with `cases.family(..., held_out=True)`; other ranges, three other loads, two other shapes. `--held-out` runs these
alone, and `held_out_runs.txt` counts how often that was done: a part that was looked at often proves less.

`test_proving.py` runs a fixed small part of it with `tests/run.sh`.
"""
