"""An examiner of the main job that shares no code with the package: invented specimens, hosts, logs, and the marks."""
