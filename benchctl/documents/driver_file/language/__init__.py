"""The language of driver files: values, templates, commands, questions and how their answers are taken."""
