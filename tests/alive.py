"""What `vulture` calls unused and is not: names that something outside the package asks for.

`vulture` reads this file with `dispense/` (see `pyproject.toml`); workbook functions and those of formulas
are told by their decorators there. Whatever else it finds is dead and goes, a name too that only a test
calls.
"""

# ruff: noqa: B018, F821

# -- attributes that a library reads when it writes the file
# openpyxl, of cells, sheets, workbooks, tables, validations
_.autoFilter, _.border, _.created, _.creator, _.data_type, _.errorTitle, _.fitToHeight, _.fitToWidth
_.freeze_panes, _.hyperlink, _.number_format, _.pageSetUpPr, _.paperSize, _.print_area, _.print_title_cols
_.print_title_rows, _.quotePrefix, _.sheet_state, _.showGridLines, _.tabColor, _.tableStyleInfo
# openpyxl, of charts
_.axId, _.crossAx, _.crosses, _.gapWidth, _.grouping, _.logBase, _.majorTickMark, _.majorUnit, _.numFmt
(
    _.display_blanks,
    _.overlap,
    _.overlay,
    _.pPr,
    _.plot_visible_only,
    _.rPr,
    _.scatterStyle,
    _.showVal,
    _.smooth,
    _.spPr,
    _.tickLblPos,
    _.txPr,
)
_.create_system, _.external_attr  # zipfile, of an entry
_.writeable  # numpy, of the flags of an array: False guards what is handed out
_.__qualname__, _.__signature__  # Python and xlwings, of a function that is made

# -- methods that a library calls
_.create_module, _.exec_module  # importlib, of a loader: old names of modules
_.SN_RE, _._parse_whitespace, _._parse_brackets  # openpyxl's tokenizer, which ours extends

# -- what Excel is told, by the names that its own objects have
_.AlternativeText, _.RGB, _.Placement, _.PrintObject, _.StatusBar, _.Formula2
_.column_width, _.N_COM_ATTEMPTS  # xlwings

# -- what LibreOffice asks of its add-ins, and names that its own records have
_.getServiceName, _.getImplementationName, _.supportsService
_.getInteractionHandler, _.getProgressHandler
_.Complete, _.FormulaLocal
# of its menu, its pane, its dialogs and its drawn shapes
(
    _.CompileEnglish,
    _.FillStyle,
    _.FormulaConvention,
    _.IsEnabled,
    _.LayerID,
    _.LineColor,
    _.LineWidth,
    _.Maximum,
    _.Minimum,
    _.MoveProtect,
)
_.PositionX, _.PositionY, _.Preferred, _.ResourceURL, _.SelectedItems, _.SizeProtect, _.Source
_.StringItemList, _.Title, _.actionPerformed, _.createAccessible, _.createUIElement, _.disposing
_.documentEventOccured, _.getHeightForWidth, _.getMinimalWidth, _.getRealInterface, _.getWindow
_.initialize, _.itemStateChanged, _.modified, _.notify, _.queryDispatches, _.removeStatusListener
_.windowHidden, _.windowMoved, _.windowResized, _.windowShown
# by the name that the core asks for (`addin/served.WHAT`)
(
    _.do_ask,
    _.do_formulas,
    _.do_mark,
    _.do_progress,
    _.do_read,
    _.do_release,
    _.do_rewrite,
    _.do_show,
    _.do_write,
)

# -- asked by name
(
    _.calculate,
    _.recalculate,
    _.configure,
    _.is_modified,
    _.switch,
    _.undo_titles,
    _.remove_row,
)  # of an open document, over a session (`addin/calc/session.py`)
install, uninstall  # `dispense addin install` takes them from the module of its host (`addin/commands.py`)
_.paths  # of a plan: read by the table's name
# constants of kinetics, read by the name of their column (`plan/materials.kinetics_of`)
_.rate_1, _.energy_2, _.order_m, _.order_n, _.diffusion_degree, _.diffusion_slope, _.diffusion_c1
_.diffusion_c2
_.plant, _.prepared_by, _.service_level, _.holding_rate, _.demand_spread  # settings, read by their name
_.length_unit, _.volume_unit, _.mass_unit, _.temperature_unit, _.pressure_unit  # likewise

_.plan_content  # of a booking: stored and exported by the name of the field

# -- offered to whoever imports the package
play_shift  # `dispense.shift`: one station through one shift
_.least_degree, _.most_degree  # of a cut through a pack of cells: how far it cured
_.imbalance  # of a pour: what of its heat is not accounted for
TOPICS  # importing them declares their functions
_.summaryRight, _.outlineLevel  # of a worksheet: written by openpyxl
_.CRC, _.header_offset, _.start_dir  # of a member of a zip archive: read by zipfile
