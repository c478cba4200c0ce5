"""What happens when a truck meets an obstacle: trials, batches of them, and what they show.

Each folder is a room, and imports run one way, from the last to the first: physics, trial, store, batch, compare,
decision, reality, replay, chart, report, validation, cli. ``statistics`` is pure and serves all of them.
"""
