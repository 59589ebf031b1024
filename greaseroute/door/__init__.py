"""What a Python program calls: sites, rounds, weeks and first days as objects.

Everything here is handed on by ``import greaseroute``; the names in ``greaseroute.__all__`` are the
promise, the modules behind them may change.
"""
