' ---------------------------------------------------------------------------------- one call

Private Function DispenseCall(ByVal name_ As String, ByVal given As Variant, ByVal manner As Long) As Variant
    'The answer of a function: from memory, with those of the rows around it, or by a trip of its own
    Dim token As String, plain As Variant, answer As Variant, isSecond As Boolean
    On Error GoTo wrong
    If manner = TELLS And python Is Nothing Then
        'it tells of other calls and is computed with each of them, so it never starts Python
        DispenseReason token
        DispenseCall = token
        Exit Function
    End If
    plain = DispenseValues(given)
    If manner <> TELLS Then token = DispenseToken(name_, plain)
    If DispenseKept(token, answer) Then
        DispenseCall = answer
        Exit Function
    End If
restart:
    On Error GoTo failed
    If Not DispenseRuns() Then
        DispenseCall = CVErr(2042)
        Exit Function
    End If
    If manner = BY_ROWS And Len(token) > 0 Then
        DispenseAround name_, given, plain
        If DispenseKept(token, answer) Then
            DispenseCall = answer
            Exit Function
        End If
    End If
    If manner = TELLS Then
        answer = DispenseShown(python.CallUDF(PYTHON_MODULE, name_, plain))
    Else
        answer = DispenseShown(python.CallUDF(PYTHON_MODULE, name_, DispensePlaced(plain, DispenseHere())))
    End If
    DispenseKeep token, answer, ""
    DispenseCall = answer
    Exit Function
failed:
    DispenseLost Err.Description
    If Not isSecond And Not hasFailed Then
        'Python may have been ended since the last call: it is started once more
        isSecond = True
        Resume restart
    End If
    hasFailed = True
    failure = name_ & ": " & failure
    DispenseCall = CVErr(2042)
    Exit Function
wrong:
    'an argument that is no cell and no value
    DispenseCall = CVErr(2015)
End Function

Private Function DispenseValues(ByVal given As Variant) As Variant
    'Arguments as values; whole columns and rows end where the last used cell of their sheets does
    Dim i As Long, lastRow As Long, lastColumn As Long
    Dim plain() As Variant
    If UBound(given) < LBound(given) Then
        DispenseValues = given
        Exit Function
    End If
    lastRow = 1
    lastColumn = 1
    For i = LBound(given) To UBound(given)
        If IsObject(given(i)) Then DispenseUsed given(i), lastRow, lastColumn
    Next i
    ReDim plain(LBound(given) To UBound(given))
    For i = LBound(given) To UBound(given)
        If IsObject(given(i)) Then
            plain(i) = DispenseBlock(given(i), lastRow, lastColumn)
        ElseIf Not IsMissing(given(i)) Then
            plain(i) = given(i)
        End If
    Next i
    DispenseValues = plain
End Function

Private Function DispenseHere() As String
    'The cell that calls, Line!B4; "" where a macro does
    Dim cell As Object
    On Error GoTo unknown
    If TypeName(Application.Caller) <> "Range" Then Exit Function
    Set cell = Application.Caller
    DispenseHere = cell.Worksheet.Name & "!" & cell.Address(False, False)
unknown:
End Function

Private Function DispensePlaced(ByVal plain As Variant, ByVal place As String) As Variant
    'The arguments and behind them the cell that calls, which a reason names
    Dim i As Long, more() As Variant
    ReDim more(LBound(plain) To UBound(plain) + 1)
    For i = LBound(plain) To UBound(plain)
        more(i) = plain(i)
    Next i
    more(UBound(plain) + 1) = place
    DispensePlaced = more
End Function

Private Sub DispenseUsed(ByVal area As Object, ByRef lastRow As Long, ByRef lastColumn As Long)
    'Where the used cells end below a whole column, or to the right of a whole row
    Dim used As Object
    If area.Rows.Count = area.Worksheet.Rows.Count Or area.Columns.Count = area.Worksheet.Columns.Count Then
        Set used = area.Worksheet.UsedRange
        If used.Row + used.Rows.Count - 1 > lastRow Then lastRow = used.Row + used.Rows.Count - 1
        If used.Column + used.Columns.Count - 1 > lastColumn Then lastColumn = used.Column + used.Columns.Count - 1
    End If
End Sub

Private Function DispenseBlock(ByVal area As Object, ByVal lastRow As Long, ByVal lastColumn As Long) As Variant
    'The values of a range in one reading
    If area.Areas.Count > 1 Then
        DispenseBlock = CVErr(2015)
    ElseIf area.Rows.Count = area.Worksheet.Rows.Count Then
        If area.Columns.Count = area.Worksheet.Columns.Count Then
            DispenseBlock = area.Resize(lastRow, lastColumn).Value2
        Else
            DispenseBlock = area.Resize(lastRow, area.Columns.Count).Value2
        End If
    ElseIf area.Columns.Count = area.Worksheet.Columns.Count Then
        DispenseBlock = area.Resize(area.Rows.Count, lastColumn).Value2
    Else
        DispenseBlock = area.Value2
    End If
End Function

' ------------------------------------------------------------- answers kept within a calculation

Private Function DispenseToken(ByVal name_ As String, ByVal plain As Variant) As String
    'A text that only equal calls share; "" where a range is among the arguments
    Dim i As Long, text_ As String, item As Variant
    text_ = name_
    For i = LBound(plain) To UBound(plain)
        item = plain(i)
        If IsArray(item) Then Exit Function
        Select Case VarType(item)
            Case vbEmpty: text_ = text_ & "|E"
            Case vbError: text_ = text_ & "|X" & CStr(item)
            Case vbBoolean: text_ = text_ & "|B" & CStr(CLng(item))
            Case vbString: text_ = text_ & "|S" & Len(item) & ":" & item
            Case Else
                'a number is told by 15 digits and what they leave
                text_ = text_ & "|N" & CStr(CDbl(item)) & "+" & CStr(CDbl(item) - CDbl(CStr(CDbl(item))))
        End Select
    Next i
    DispenseToken = text_
End Function

Private Function DispenseKept(ByVal token As String, ByRef answer As Variant) As Boolean
    'Whether the answer is known already; then it is given
    Dim kept As Variant
    If Len(token) = 0 Or memory Is Nothing Then Exit Function
    If Not memory.Exists(token) Then Exit Function
    kept = memory.Item(token)
    answer = kept(0)
    If Len(kept(1)) > 0 Then hits.Item(kept(1)) = hits.Item(kept(1)) + 1
    DispenseKept = True
End Function

Private Sub DispenseKeep(ByVal token As String, ByVal answer As Variant, ByVal column_ As String)
    'Keep an answer; `column_` says with which column of formulas it was asked for ahead
    If Len(token) = 0 Then Exit Sub
    If Not memory Is Nothing Then
        If memory.Count > MOST_KEPT Then DispenseForget
    End If
    If memory Is Nothing Then
        Set memory = CreateObject("Scripting.Dictionary")
        Set hits = CreateObject("Scripting.Dictionary")
        Set reaches = CreateObject("Scripting.Dictionary")
    End If
    memory.Item(token) = Array(answer, column_)
End Sub

' ------------------------------------------------- one trip for the cells of a filled-down formula

Private Sub DispenseAround(ByVal name_ As String, ByVal given As Variant, ByVal plain As Variant)
    'Ask at once for the cells above and below that hold the same formula as the calling one.
    'Answers are kept by the values of the arguments, so that a cell read too early is asked again, never wrong
    Dim cell As Object, column_ As String, reach As Long, top As Long, bottom As Long, i As Long
    On Error GoTo given_up
    For i = LBound(given) To UBound(given)
        If IsObject(given(i)) And IsEmpty(plain(i)) Then Exit Sub
    Next i
    If TypeName(Application.Caller) <> "Range" Then Exit Sub
    Set cell = Application.Caller
    If cell.Rows.Count <> 1 Or cell.Columns.Count <> 1 Then Exit Sub
    column_ = DispenseColumn(name_, given, cell)
    reach = DispenseReach(column_)
    If reach < 2 Then Exit Sub
    DispenseAlike cell, reach, top, bottom
    DispenseUnasked column_, cell.Row, top, bottom
    If bottom - top < 2 Then Exit Sub
    DispenseAsk name_, given, plain, cell, top, bottom, column_
    reaches.Item(column_) = Array(bottom - top, top, bottom)
given_up:
End Sub

Private Function DispenseColumn(ByVal name_ As String, ByVal given As Variant, ByVal cell As Object) As String
    'What tells a column of formulas from others: where it stands and whence its arguments come
    Dim i As Long
    DispenseColumn = cell.Worksheet.Name & "!" & cell.Column & "|" & name_
    For i = LBound(given) To UBound(given)
        If IsObject(given(i)) Then DispenseColumn = DispenseColumn & "|" & given(i).Column
    Next i
End Function

Private Function DispenseReach(ByVal column_ As String) As Long
    'How many rows to ask for: more where those of before were wanted, fewer or none where they were not
    Dim before As Variant
    DispenseReach = FIRST_REACH
    If reaches Is Nothing Then Exit Function
    If Not reaches.Exists(column_) Then Exit Function
    before = reaches.Item(column_)
    DispenseReach = 2 * hits.Item(column_)
    If DispenseReach >= before(0) Then DispenseReach = 8 * before(0)
    If DispenseReach > MOST_REACH Then DispenseReach = MOST_REACH
End Function

Private Sub DispenseUnasked(ByVal column_ As String, ByVal here As Long, ByRef top As Long, ByRef bottom As Long)
    'Leave out the rows that were asked for before
    Dim before As Variant
    If reaches Is Nothing Then Exit Sub
    If Not reaches.Exists(column_) Then Exit Sub
    before = reaches.Item(column_)
    If here > before(2) And top <= before(2) Then top = before(2) + 1
    If here < before(1) And bottom >= before(1) Then bottom = before(1) - 1
End Sub

Private Sub DispenseAlike(ByVal cell As Object, ByVal reach As Long, ByRef top As Long, ByRef bottom As Long)
    'The rows around the cell, this one among them, that hold its formula
    Dim words As String, formulas_ As Variant, used As Object, first As Long, last As Long
    words = cell.FormulaR1C1
    top = cell.Row
    bottom = cell.Row
    Set used = cell.Worksheet.UsedRange
    first = cell.Row - reach
    If first < used.Row Then first = used.Row
    last = cell.Row + reach
    If last > used.Row + used.Rows.Count - 1 Then last = used.Row + used.Rows.Count - 1
    If last <= first Then Exit Sub
    formulas_ = cell.Worksheet.Range(cell.Worksheet.Cells(first, cell.Column), _
        cell.Worksheet.Cells(last, cell.Column)).FormulaR1C1
    Do While top > first
        If formulas_(top - first, 1) <> words Then Exit Do
        top = top - 1
    Loop
    Do While bottom < last
        If formulas_(bottom - first + 2, 1) <> words Then Exit Do
        bottom = bottom + 1
    Loop
End Sub

Private Sub DispenseAsk(ByVal name_ As String, ByVal given As Variant, ByVal plain As Variant, _
        ByVal cell As Object, ByVal top As Long, ByVal bottom As Long, ByVal column_ As String)
    'One trip for all rows; each answer is kept as its own call would have given it
    Dim i As Long, row_ As Long, columns_ As Long, answers As Variant, own() As Variant, part() As Variant
    Dim blocks() As Variant, moving() As Boolean, words As String, low As Long, hasBlank As Boolean
    ReDim blocks(LBound(given) To UBound(given))
    ReDim moving(LBound(given) To UBound(given))
    words = cell.Formula
    For i = LBound(given) To UBound(given)
        blocks(i) = plain(i)
        If IsObject(given(i)) Then
            If DispenseMoves(given(i), words) Then
                moving(i) = True
                blocks(i) = given(i).Worksheet.Range( _
                    given(i).Worksheet.Cells(given(i).Row + top - cell.Row, given(i).Column), _
                    given(i).Worksheet.Cells(given(i).Row + bottom - cell.Row, given(i).Column)).Value2
            End If
        End If
    Next i
    answers = DispenseShown(python.CallUDF(PYTHON_MODULE, name_, DispensePlaced(blocks, _
        cell.Worksheet.Name & "!" & cell.Worksheet.Range(cell.Worksheet.Cells(top, cell.Column), _
        cell.Worksheet.Cells(bottom, cell.Column)).Address(False, False))))
    columns_ = DispenseColumns(answers)
    If columns_ < 0 Then Exit Sub
    low = LBound(answers, 2)
    For row_ = 1 To bottom - top + 1
        ReDim own(LBound(given) To UBound(given))
        hasBlank = False
        For i = LBound(given) To UBound(given)
            own(i) = plain(i)
            If moving(i) Then own(i) = blocks(i)(row_, 1)
            If moving(i) And IsEmpty(own(i)) Then hasBlank = True
        Next i
        If Not hasBlank Then
            'alone a blank cell is an error or a default, in a column it stays blank: it is asked alone
            If columns_ = low Then
                DispenseKeep DispenseToken(name_, own), answers(LBound(answers, 1) + row_ - 1, low), column_
            Else
                ReDim part(0 To columns_ - low)
                For i = low To columns_
                    part(i - low) = answers(LBound(answers, 1) + row_ - 1, i)
                Next i
                DispenseKeep DispenseToken(name_, own), part, column_
            End If
        End If
    Next row_
    hits.Item(column_) = 0
End Sub

Private Function DispenseMoves(ByVal area As Object, ByVal words As String) As Boolean
    'Whether a cell is another one in the next row: the formula names its row without $, or the row of a table
    Dim name_ As String, place As Long
    DispenseMoves = InStr(words, "[@") > 0 Or InStr(words, "[#This Row]") > 0
    name_ = area.Address(False, False)
    place = InStr(words, name_)
    Do While place > 0 And Not DispenseMoves
        DispenseMoves = Not IsNumeric(Mid$(words & " ", place + Len(name_), 1))
        place = InStr(place + 1, words, name_)
    Loop
End Function

' --------------------------------------------------------------------------------- start of Python

Private Function DispenseRuns() As Boolean
    'Whether Python runs; it is started where it does not. A start that failed is remembered
    Dim said As String
    If Not python Is Nothing Then
        DispenseRuns = True
        Exit Function
    End If
    If hasFailed Then Exit Function
    If DispenseInDialog() Then Exit Function
    On Error GoTo failed
    DispenseSaid said, "dispense: starting Python ..."
    DispenseSay said
    DispenseStart
    DispenseRuns = True
    Exit Function
failed:
    DispenseLost Err.Description
    hasFailed = True
End Function

Private Sub DispenseLost(ByVal reason As String)
    'Python was not reached
    DispenseSaid failure, "these functions were made for xlwings {name}"
    failure = reason & " (" & Replace(failure, "{name}", MADE_FOR) & ")"
    Set python = Nothing
End Sub

Private Sub DispenseSay(ByVal text_ As String)
    On Error Resume Next
    Application.StatusBar = text_
    hasStatus = True
End Sub

Private Sub DispenseStart()
    Dim found As String, said As String
    found = DispenseFault()
    If found <> "" Then Err.Raise vbObjectError + 514, "{module}", found
    Set python = {start}
    found = python.Str(python.GetAttr(python.Module(PYTHON_MODULE), "XLWINGS_VERSION"))
    If found <> MADE_FOR Then
        Set python = Nothing
        DispenseSaid said, "Python has xlwings {name}; install xlwings=={name2}, or build the add-in again: {name3}"
        said = Replace(Replace(said, "{name}", found), "{name2}", MADE_FOR)
        Err.Raise vbObjectError + 513, "{module}", Replace(said, "{name3}", "dispense addin build --host excel")
    End If
End Sub

Private Function DispenseFault() As String
    'Why Python will not start, in a second or two: without this xlwings waits for minutes
    Dim program As String, runner As Object, code As Long, said As String, found As String
    On Error Resume Next
    If GetConfig("CONDA PATH", "") <> "" Then Exit Function
    program = GetConfig("INTERPRETER_WIN", "")
    If program = "" Then program = "python"
    If InStr(program, "\") > 0 Then
        If Not FileExists(program) Then
            DispenseSaid said, "there is no file {name}"
            DispenseFault = Replace(said, "{name}", program)
            Exit Function
        End If
    End If
    Set runner = CreateObject("WScript.Shell")
    If runner Is Nothing Then Exit Function
    Err.Clear
    code = runner.Run("""" & program & """ -c ""import dispense, xlwings, win32com""", 0, True)
    If Err.Number <> 0 Then
        found = Err.Description
        DispenseSaid said, "{name} cannot be run"
        DispenseFault = Replace(said, "{name}", program) & ": " & found
    ElseIf code <> 0 Then
        DispenseSaid said, "{name} lacks dispense, xlwings or pywin32: install them there"
        DispenseFault = Replace(said, "{name}", program)
    End If
End Function

Private Function DispenseInDialog() As Boolean
    'Whether a dialog of Excel stands open, such as that of the function wizard
    On Error Resume Next
    DispenseInDialog = DispenseFindWindow("bosa_sdm_XL9", vbNullString) <> 0
End Function

Public Sub DispenseReason(ByRef text_ As String)
    'What stands in the way of Python
    DispenseSaid text_, "Python has not been started: it starts with the first function or button"
    If Not python Is Nothing Then DispenseSaid text_, "Python runs"
    If Not hasFailed Then Exit Sub
    DispenseSaid text_, "Then press Start again on the tab Dispense, or run the macro DispenseAgain"
    text_ = failure & ". " & text_
End Sub

Public Sub DispenseAgain()
    'Start Python anew: after a failed start, or an upgrade
    On Error Resume Next
    If Not python Is Nothing Then python.Call python.Module(MENU_MODULE), "leave", python.Tuple()
    Set python = Nothing
    hasFailed = False
    failure = ""
    DispenseForget
    Err.Clear
    If DispenseRuns() Then Application.CalculateFull
End Sub

Public Sub DispenseForget()
    'A calculation has ended: answers are kept within one only
    Set memory = Nothing
    Set hits = Nothing
    Set reaches = Nothing
    If Not hasStatus Then Exit Sub
    hasStatus = False
    On Error Resume Next
    Application.StatusBar = False
End Sub

Public Sub DispenseDo(ByVal book As Object, ByVal what As String, ByRef said As String)
    'A command of the menu, on a workbook; what is to be said of it
    On Error GoTo failed
    said = ""
    If Not DispenseRuns() Then
        DispenseReason said
        Exit Sub
    End If
    Application.EnableCancelKey = 0
    said = python.Str(python.Call(python.Module(MENU_MODULE), "command", python.Tuple(book, what)))
    Application.EnableCancelKey = 1
    Exit Sub
failed:
    DispenseLost Err.Description
    said = failure
    Application.EnableCancelKey = 1
End Sub

Public Sub DispenseEdited(ByVal book As Object)
    'A cell was edited: a sheet on which a station is tried follows. Its file is named so by the menu
    Dim said As String
    If python Is Nothing Then Exit Sub
    If Not LCase$(book.Name) Like "*_try.xlsx" Then Exit Sub
    DispenseDo book, "edited", said
End Sub

Public Sub DispenseSaved(ByVal book As Object)
    'Marks went before the workbook was saved: they come back
    Dim said As String
    If python Is Nothing Then Exit Sub
    DispenseDo book, "saved", said
End Sub

' ---------------------------------------------------------------------------------- what comes back

Private Function DispenseShown(ByVal value As Variant) As Variant
    Dim i As Long, j As Long, columns_ As Long
    If Not IsArray(value) Then
        DispenseShown = DispenseCell(value)
        Exit Function
    End If
    columns_ = DispenseColumns(value)
    For i = LBound(value, 1) To UBound(value, 1)
        If columns_ < 0 Then
            value(i) = DispenseCell(value(i))
        Else
            For j = LBound(value, 2) To UBound(value, 2)
                value(i, j) = DispenseCell(value(i, j))
            Next j
        End If
    Next i
    DispenseShown = value
End Function

Private Function DispenseColumns(ByRef value As Variant) As Long
    'The last column of an array, -1 where it has one dimension only
    On Error GoTo single_
    DispenseColumns = UBound(value, 2)
    Exit Function
single_:
    DispenseColumns = -1
End Function

Private Function DispenseCell(ByVal value As Variant) As Variant
    'A marked text becomes the error it names; a text that began with the mark loses one of two
    DispenseCell = value
    If VarType(value) <> vbString Then Exit Function
    If Left$(value, 1) <> ChrW$({mark}) Then Exit Function
    Select Case Mid$(value, 2)
{cases}
        Case Else: DispenseCell = Mid$(value, 2)
    End Select
End Function

' ------------------------------------------------------------------------- texts of the function wizard

Public Sub DispenseOpened()
    'The workbook was opened: its texts are told to the wizard when Excel is ready. Nothing is computed
    On Error Resume Next
    Application.OnTime Now + TimeSerial(0, 0, 2), "'" & ThisWorkbook.Name & "'!DispenseHelp"
End Sub

Public Sub DispenseHelp()
    'They hold only while a workbook is shown: it is tried again until they do
    Dim wasSaved As Boolean
    If isDescribed Then Exit Sub
    wasSaved = ThisWorkbook.Saved
    On Error GoTo notYet
{helps}
    isDescribed = True
notYet:
    ThisWorkbook.Saved = wasSaved
End Sub

Private Sub DispenseDescribe(ByVal name_ As String, ByVal words As String, _
        ByVal topic As String, ByRef notes() As String)
    Application.MacroOptions Macro:="'" & ThisWorkbook.Name & "'!" & name_, _
        Description:=words, Category:=topic, ArgumentDescriptions:=notes
End Sub

' --------------------------------------------------------------------- the language of Excel's windows

{words}
