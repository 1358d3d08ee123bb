"""Where the face really is and where it points, with honest standard deviations.

`motion`    how the machine moves over an advance (state, transition, process noise).
`sensors`   what each channel says about the state: (z, H, R).
`filter`    prediction and scalar updates for a stack of planes at once.
`cells`     readings grouped along the chainage, so that cost goes with advance, not with readings.
`estimator` the fold over cells, check shots and reference settings, with checkpoints.
`health`    what the innovations say about sensors, reference, ground and steering.
`smoother`  the path as driven, with all knowledge.
"""
