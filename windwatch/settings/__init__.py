"""The configuration, validated and turned into frozen values."""
