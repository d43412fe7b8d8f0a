"""The configuration, validated and turned into frozen values.

`read.read_settings` is the way in: files and environment to `running.Settings`, or every
fault at once. `schema.schema` gives the same rules to an editor.
"""
