"""Season events of trees and safe days for cuts, from a site's daily temperatures.

    intake → temperature → drivers → events → stretches → windows → advice → export, charts
             (record)      (heat,     (dates)   (rules)     (odds)    (answers)
                            chill)

One spring can be followed from left to right: `timing.intake` reads a file or a sample into a
`timing.temperature.TemperatureRecord`; `timing.answers.site_drivers` lays it out by season;
`timing.answers.outlook` dates the events of one taxon and computes its odds;
`timing.advice.answer` turns them into an answer for one day, and `timing.calendar.year_calendar`
into a year. Modules import only from their left.
"""
