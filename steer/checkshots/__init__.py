"""Check shots: from the surveyor's points to what they say about the estimate and the reference.

`from_survey` makes shots of an adjusted survey's points; `plausible` looks at their chainage and time
against the readings; `explain` weighs a survey blunder against a moved reference; `effect` says how the
estimate moved; `reference` what error of the reference was found and how to aim it; `report` puts it in
words. What a shot does to the estimate is in `steer.estimate.shots`.
"""
