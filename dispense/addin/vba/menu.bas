Attribute VB_Name = "DispenseMenu"
Option Explicit
'The tab Dispense, its buttons, marks of the plan and links to this add-in.
'Do not edit: build it again with  dispense addin build --host excel

Private Const MARK As String = "dispense mark"

Public Sub DispensePressed(ByVal control As IRibbonControl)
    'A button of the tab; its tag says what is to be done
    Dim said As String
    On Error GoTo failed
    Select Case control.Tag
        Case "again"
            DispenseAgain
            DispenseReason said
        Case "why"
            DispenseReason said
        Case "links"
            DispenseLinks said
        Case Else
            If ActiveWorkbook Is Nothing Then
                DispenseSaid said, "Open a plan first"
            Else
                DispenseDo ActiveWorkbook, control.Tag, said
            End If
    End Select
    If said <> "" Then MsgBox said, vbInformation, "dispense"
    Exit Sub
failed:
    MsgBox Err.Description, vbExclamation, "dispense"
End Sub

Public Sub DispenseLabel(ByVal control As IRibbonControl, ByRef returned As Variant)
    'What stands on a button or under a group
    Dim label_ As String, help_ As String, said As String
    DispenseEntry control.ID, label_, help_
    DispenseSaid said, label_
    returned = said
End Sub

Public Sub DispenseTip(ByVal control As IRibbonControl, ByRef returned As Variant)
    'The title of what is shown while the mouse rests on a button
    Dim label_ As String, help_ As String, said As String
    DispenseEntry control.ID, label_, help_
    DispenseSaid said, Replace(label_, {dots}, "")
    returned = said
End Sub

Public Sub DispenseHelpOf(ByVal control As IRibbonControl, ByRef returned As Variant)
    'And the sentence below it
    Dim label_ As String, help_ As String, said As String
    DispenseEntry control.ID, label_, help_
    DispenseSaid said, help_
    returned = said
End Sub

Private Sub DispenseEntry(ByVal id_ As String, ByRef label_ As String, ByRef help_ As String)
    'The words of a button or a group in English
    label_ = id_
    Select Case id_
{entries}
    End Select
End Sub

Private Sub DispenseLinks(ByRef said As String)
    'Links of all open workbooks
    Dim book As Object, count_ As Long
    For Each book In Workbooks
        DispenseRelink book, count_
    Next book
    DispenseSaid said, "{n} links to an add-in of another place now lead to this one"
    said = Replace(said, "{n}", count_)
End Sub

Public Sub DispenseRelink(ByVal book As Object, ByRef count_ As Long)
    'A workbook that was written elsewhere names the add-in of its author: it is led to this one
    Dim links As Variant, i As Long, name_ As String, wasSaved As Boolean
    On Error GoTo refused
    If LCase$(ThisWorkbook.Name) <> "{addin}" Then Exit Sub
    links = book.LinkSources(1)
    If IsEmpty(links) Then Exit Sub
    For i = LBound(links) To UBound(links)
        name_ = Replace(links(i), "/", "\")
        name_ = LCase$(Mid$(name_, InStrRev(name_, "\") + 1))
        If name_ = "{addin}" And LCase$(links(i)) <> LCase$(ThisWorkbook.FullName) Then
            wasSaved = book.Saved
            book.ChangeLink links(i), ThisWorkbook.FullName, 1
            book.Saved = wasSaved
            count_ = count_ + 1
        End If
    Next i
refused:
End Sub

Public Sub DispenseHideMarks(ByVal book As Object)
    'Marks are no part of the plan: they go before it is saved
    Dim sheet As Object, i As Long
    On Error Resume Next
    For Each sheet In book.Worksheets
        For i = sheet.Shapes.Count To 1 Step -1
            If Left$(sheet.Shapes(i).Name, Len(MARK)) = MARK Then sheet.Shapes(i).Delete
        Next i
    Next sheet
End Sub
