"""Run as tests, the notebooks keep nothing in the shop of whoever runs them."""

import os

os.environ["ESTIMATOR_SHOP"] = ""
