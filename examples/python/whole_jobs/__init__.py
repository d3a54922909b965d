"""Bench of whole jobs: a technician, a dead vehicle and the library's advice, against four habits.

The truth is drawn from the rates and solved by ngspice; nothing of it passes through the library.
"""
