"""The correction: what to set for the next stroke, within every limit, and why.

`outlook`    how the face goes on from here, as a linear function of the settings to come.
`programme`  the settings that bring it back to line, a quadratic programme.
`settings`   whole cylinder steps that obey every limit.
`advise`     estimate, correction, forecast and reason put together.
"""
