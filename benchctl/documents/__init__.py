"""The four YAML documents as typed models, and a reader whose errors name file:line:column."""
