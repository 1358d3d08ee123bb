"""Where the face really is and where it points, with honest standard deviations.

`motion`    how the machine moves over an advance (state, transition, process noise).
`sensors`   what each channel says about the state: (z, H, R).
`filter`    prediction and scalar updates for a stack of planes at once.
`cells`     readings grouped along the chainage, so that cost goes with advance, not with readings.
`sift`      which readings of a cell count, and whether a channel has jumped.
`nodes`     what the fold leaves at a chainage; `packed` and `small` how it is put away on the `shelf` far behind the face.
`evidence`  what gathers over metres, for a wrong answer or other ground.
`estimator` the fold over cells, check shots and reference settings, with checkpoints.
`rulings`   what the whole log says about how its readings are to be taken.
`follow`    the log's events to cells, shots and settings; `run` a channel that is stuck.
`sureness`  the estimate against the tolerance, and when the next survey is due.
`health`    what the innovations say about sensors, reference, ground and steering.
`smoother`  the path as driven, with all knowledge.
"""
