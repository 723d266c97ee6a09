"""The forward model of the fit: supply, converter, rails and output stages, followed within each cycle of the tone.

It shares no code with the simulator. Columns are captures times sets of parameters, so that one pass through a burst
gives a whole Jacobian.
"""
