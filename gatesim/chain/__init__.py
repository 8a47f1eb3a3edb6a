"""From a scenario to a reading: assembly of the rig, the controller, the pipeline and its verdict."""
