"""The terminal screens: they draw what `steer` says and compute nothing of the drive.

`draw`     pure functions from a scene to rows of text with roles; no terminal library in them
`widgets`  the few Textual widgets that put rows on the terminal
`screens`  one file a screen
`dialogs`  one file a dialog
`app`      ties them to a source (a drive) through the desk, the one thread that touches the log
"""
