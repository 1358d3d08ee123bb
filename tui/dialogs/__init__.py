"""The dialogs, one file each."""
