"""The history folder: how a shop's records come in and go out as CSV files.

`load` and `write` are the way in; what the files hold stands in `columns`.
"""
