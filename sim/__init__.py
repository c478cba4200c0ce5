"""What happens when a truck meets an obstacle: trials, batches of them, and what they show.

Physics: :mod:`sim.trial`. Many trials: :mod:`sim.plan`, :mod:`sim.batch`, :mod:`sim.store`.
What they show: :mod:`sim.interval`, :mod:`sim.paired`, :mod:`sim.threshold`, :mod:`sim.comparison`.
"""
