package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"strings"
)

// A mutant is one small change of a source file: the bytes from..to replaced.
type mutant struct {
	id       int
	file     string
	fn       string // function, or the name of a constant
	line     int
	from, to int
	with     string
	was, is  string // the line before and after
	fun      *ast.FuncDecl
}

// key names a mutant in the list of survivors: lines move, texts stay.
func (m *mutant) key() string { return m.file + " " + m.fn + ": " + m.was + "  =>  " + m.is }

// find lists the mutants of a file in the named functions and constants.
func find(name string, src []byte, only []string) ([]*mutant, *token.FileSet, error) {
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, name, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, nil, err
	}
	var list []*mutant
	wanted := func(fn string) bool { return len(only) == 0 || slices.Contains(only, fn) }
	for _, d := range file.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			if d.Body != nil && wanted(d.Name.Name) {
				list = append(list, within(d.Body, d.Name.Name, src, fset, d)...)
			}
		case *ast.GenDecl:
			if d.Tok != token.CONST && d.Tok != token.VAR {
				continue
			}
			for _, s := range d.Specs {
				v := s.(*ast.ValueSpec)
				if wanted(v.Names[0].Name) {
					for _, e := range v.Values {
						list = append(list, within(e, v.Names[0].Name, src, fset, nil)...)
					}
				}
			}
		}
	}
	for _, m := range list {
		m.file = name
	}
	return list, fset, nil
}

// swaps are the operators that a slip of the hand exchanges.
func swaps() map[token.Token][]token.Token {
	return map[token.Token][]token.Token{
		token.ADD: {token.SUB}, token.SUB: {token.ADD}, token.MUL: {token.QUO}, token.QUO: {token.MUL}, token.REM: {token.MUL},
		token.LSS: {token.LEQ, token.GEQ}, token.LEQ: {token.LSS, token.GTR}, token.GTR: {token.GEQ, token.LEQ}, token.GEQ: {token.GTR, token.LSS},
		token.EQL: {token.NEQ}, token.NEQ: {token.EQL}, token.LAND: {token.LOR}, token.LOR: {token.LAND},
		token.AND: {token.OR}, token.OR: {token.AND}, token.SHL: {token.SHR}, token.SHR: {token.SHL},
		token.ADD_ASSIGN: {token.SUB_ASSIGN}, token.SUB_ASSIGN: {token.ADD_ASSIGN}, token.MUL_ASSIGN: {token.QUO_ASSIGN}, token.QUO_ASSIGN: {token.MUL_ASSIGN},
		token.INC: {token.DEC}, token.DEC: {token.INC},
	}
}

func calls() map[string]string {
	return map[string]string{"Min": "Max", "Max": "Min", "Sin": "Cos", "Cos": "Sin", "min": "max", "max": "min",
		"Log1p": "Log", "Expm1": "Exp", "sinDegrees": "cosDegrees", "cosDegrees": "sinDegrees"}
}

// within lists the mutants of one function body or constant.
func within(root ast.Node, fn string, src []byte, fset *token.FileSet, fun *ast.FuncDecl) []*mutant {
	var list []*mutant
	quiet := 0                   // inside a call that only makes a message
	signs := map[ast.Node]bool{} // literals of which only the sign counts
	at := func(p token.Pos) int { return fset.Position(p).Offset }
	add := func(from, to int, with string) {
		start := strings.LastIndexByte(string(src[:from]), '\n') + 1
		end := to + strings.IndexByte(string(src[to:]), '\n')
		squeeze := func(s string) string { return strings.Join(strings.Fields(s), " ") }
		list = append(list, &mutant{fn: fn, from: from, to: to, with: with, fun: fun, line: 1 + strings.Count(string(src[:from]), "\n"),
			was: squeeze(string(src[start:end])), is: squeeze(string(src[start:from]) + with + string(src[to:end]))})
	}
	operator := func(p token.Pos, op token.Token) {
		for _, other := range swaps()[op] {
			add(at(p), at(p)+len(op.String()), other.String())
		}
	}
	remove := func(n ast.Node) { add(at(n.Pos()), at(n.End()), "_ = 0") }
	var visit func(n ast.Node) bool
	visit = func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			if messageOnly(n) {
				quiet++
				for _, a := range n.Args {
					ast.Inspect(a, visit)
				}
				quiet--
				return false
			}
			var name *ast.Ident
			switch f := n.Fun.(type) {
			case *ast.Ident:
				name = f
			case *ast.SelectorExpr:
				name = f.Sel
			}
			if name != nil {
				if other, ok := calls()[name.Name]; ok {
					add(at(name.Pos()), at(name.End()), other)
				}
				// Of the argument that chooses an infinity only the sign counts.
				if lit, ok := n.Args[max(len(n.Args)-1, 0):], strings.HasSuffix(name.Name, "Inf"); ok && len(lit) == 1 {
					signs[innermost(lit[0])] = true
				}
			}
		case *ast.BinaryExpr:
			if quiet == 0 {
				operator(n.OpPos, n.Op)
			}
		case *ast.UnaryExpr:
			if quiet == 0 && (n.Op == token.SUB || n.Op == token.NOT) {
				add(at(n.OpPos), at(n.OpPos)+1, "")
			}
		case *ast.IncDecStmt:
			operator(n.TokPos, n.Tok)
		case *ast.AssignStmt:
			operator(n.TokPos, n.Tok)
			if n.Tok != token.DEFINE {
				remove(n)
			}
		case *ast.ExprStmt:
			remove(n)
		case *ast.BranchStmt:
			if n.Label == nil && n.Tok != token.FALLTHROUGH {
				remove(n)
			}
		case *ast.BasicLit:
			if quiet > 0 {
				break
			}
			switch n.Kind {
			case token.INT:
				if signs[n] {
					add(at(n.Pos()), at(n.End()), "(-"+n.Value+")")
				} else if v, err := strconv.ParseInt(n.Value, 0, 64); err == nil {
					add(at(n.Pos()), at(n.End()), strconv.FormatInt(v+1, 10))
				}
			case token.FLOAT:
				with := "(" + n.Value + "*1.01)"
				if v, err := strconv.ParseFloat(n.Value, 64); err == nil && v == 0 {
					with = "1.0"
				}
				add(at(n.Pos()), at(n.End()), with)
			}
		}
		return true
	}
	ast.Inspect(root, visit)
	return list
}

// innermost is the literal under a sign.
func innermost(e ast.Expr) ast.Expr {
	if u, ok := e.(*ast.UnaryExpr); ok {
		return u.X
	}
	return e
}

// messageOnly tells calls whose arguments only make a text.
func messageOnly(c *ast.CallExpr) bool {
	switch f := c.Fun.(type) {
	case *ast.Ident:
		return f.Name == "panic"
	case *ast.SelectorExpr:
		x, ok := f.X.(*ast.Ident)
		return ok && (x.Name == "fmt" || x.Name == "errors")
	}
	return false
}

// schema returns the source with a copy of its function for every mutant and,
// at the top of each original, a switch to the copies. One compilation then
// serves all mutants. lines[i] is the mutant to which line i+1 belongs.
func schema(src []byte, fset *token.FileSet, list []*mutant) (out []byte, lines []*mutant) {
	byFun := map[*ast.FuncDecl][]*mutant{}
	var funs []*ast.FuncDecl
	for _, m := range list {
		if m.fun == nil {
			continue
		}
		if byFun[m.fun] == nil {
			funs = append(funs, m.fun)
		}
		byFun[m.fun] = append(byFun[m.fun], m)
	}
	slices.SortFunc(funs, func(a, b *ast.FuncDecl) int { return int(a.Pos() - b.Pos()) })
	at := func(p token.Pos) int { return fset.Position(p).Offset }
	last := 0
	for _, f := range funs {
		named, call := signature(src, f, at)
		brace := at(f.Body.Lbrace) + 1
		out = append(out, src[last:at(f.Pos())]...)
		out = append(out, "func "+named(f.Name.Name)+" {\nswitch mutantID {\n"...)
		for _, m := range byFun[f] {
			out = append(out, fmt.Sprintf("case %d:\n%s\n", m.id, call(copyName(f, m)))...)
		}
		out = append(out, "}\n"...)
		last = brace
	}
	out = append(out, src[last:]...)
	lines = make([]*mutant, strings.Count(string(out), "\n"))
	for _, f := range funs {
		named, _ := signature(src, f, at)
		brace, end := at(f.Body.Lbrace)+1, at(f.End())
		for _, m := range byFun[f] {
			text := "\nfunc " + named(copyName(f, m)) + " {" + string(src[brace:m.from]) + m.with + string(src[m.to:end]) + "\n"
			out = append(out, text...)
			for range strings.Count(text, "\n") {
				lines = append(lines, m)
			}
		}
	}
	return out, append(lines, nil)
}

func copyName(f *ast.FuncDecl, m *mutant) string {
	return fmt.Sprintf("%s_mutant%d", f.Name.Name, m.id)
}

// signature returns what writes the head of a function under another name,
// with every parameter named, and what writes a call of it.
func signature(src []byte, f *ast.FuncDecl, at func(token.Pos) int) (named, call func(string) string) {
	text := func(n ast.Node) string { return string(src[at(n.Pos()):at(n.End())]) }
	n := 0
	var args []string
	fields := func(l *ast.FieldList, keep bool) string {
		var parts []string
		for _, p := range l.List {
			names := p.Names
			if len(names) == 0 {
				names = []*ast.Ident{{Name: "_"}}
			}
			for _, id := range names {
				name := id.Name
				if name == "_" {
					n++
					name = fmt.Sprintf("unnamed%d", n)
				}
				parts = append(parts, name+" "+text(p.Type))
				if _, ok := p.Type.(*ast.Ellipsis); ok {
					name += "..."
				}
				if keep {
					args = append(args, name)
				}
			}
		}
		return "(" + strings.Join(parts, ", ") + ")"
	}
	receiver, prefix := "", ""
	if f.Recv != nil {
		receiver = fields(f.Recv, false) + " "
		prefix = strings.TrimPrefix(strings.Fields(receiver)[0], "(") + "."
	}
	types := ""
	if f.Type.TypeParams != nil {
		types = string(src[at(f.Type.TypeParams.Opening) : at(f.Type.TypeParams.Closing)+1])
	}
	params := fields(f.Type.Params, true)
	results := ""
	if f.Type.Results != nil {
		results = " " + string(src[at(f.Type.Results.Pos()):at(f.Type.Results.End())])
	}
	named = func(name string) string { return receiver + name + types + params + results }
	call = func(name string) string {
		c := prefix + name + "(" + strings.Join(args, ", ") + ")"
		if f.Type.Results != nil {
			return "return " + c
		}
		return c + "\nreturn"
	}
	return named, call
}
