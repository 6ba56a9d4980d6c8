"""Units of readings in templates."""

from django import template

from plant.readings.unit_labels import kept_unit_label, unit_label

register = template.Library()
register.filter("reading_unit_name", unit_label)
register.filter("kept_unit", kept_unit_label)
