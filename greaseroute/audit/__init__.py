"""Is a plan true? Started again from the raw files, walked by the clock, one function a promise.

Nothing of the planner is imported: ground, reach, sight, due list, dose, cartridges and times are
re-derived here from the site's records. Taken from elsewhere are the records themselves, the
reading of the folder, and the catalogue's kinematics (where a machine's parts are).
"""
