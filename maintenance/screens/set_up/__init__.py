"""How the die stands at its stop blocks: what the last set-up's readings say, drawn, and those before it.

May import the log and all below; the form that enters a set-up is with the other bench forms.
"""
