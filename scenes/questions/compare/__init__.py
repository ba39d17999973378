"""`brimline compare`: stills of the test shoot laid over the prediction, and what they say of what was not measured."""
