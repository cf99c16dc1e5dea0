//! Where a source file can be mutated, and into what.

use crate::plain::values_returned;
use proc_macro2::Span;
use quote::ToTokens;
use std::ops::Range;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, BinOp, Block, Expr, ImplItemFn, ItemFn, ItemImpl, ItemMod, Signature, UnOp};

/// What kind of mistake a mutant stands for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Kind {
    /// A function's body replaced by a plain value.
    Body,
    /// `+ - * / %` and the operators on bits.
    Arithmetic,
    /// `< > == !=` and their like for others.
    Comparison,
    /// `<=` for `<` and the like: of figures that are hardly ever equal to the last bit.
    Boundary,
    /// `&&` and `||`.
    Logic,
    /// `+=` and its like.
    Assignment,
    /// `!` or `-` before an operand, left out.
    Unary,
    /// A match arm's guard, always or never satisfied.
    Guard,
}

/// One mutant.
pub struct Site {
    pub kind: Kind,
    /// Of the file, from 1.
    pub line: usize,
    pub function: String,
    /// What stood there, on one line; empty for a body.
    pub was: String,
    /// What stands there instead, on one line.
    pub instead: String,
    /// The bytes of the file that are replaced; for a body the empty place behind its brace.
    pub bytes: Range<usize>,
    /// Whether both expressions are truth values that can be asked for without any effect.
    pub comparable: bool,
}

/// What was found in one file.
#[derive(Default)]
pub struct Found {
    pub sites: Vec<Site>,
    /// Names of the modules for tests only that stand in files of their own.
    pub test_modules: Vec<String>,
    function: Vec<String>,
}

/// All mutants of a file's text, in the order of the syntax tree.
pub fn find(text: &str) -> syn::Result<Found> {
    let mut found = Found::default();
    found.visit_file(&syn::parse_file(text)?);
    Ok(found)
}

impl Found {
    fn add(&mut self, kind: Kind, of: Span, bytes: Range<usize>, was: String, instead: String) {
        self.sites.push(Site {
            kind,
            line: of.start().line,
            function: self.function.join("::"),
            was,
            instead,
            bytes,
            comparable: false,
        });
    }

    fn replace(&mut self, kind: Kind, expr: &Expr, instead: String) {
        let was = expr.to_token_stream().to_string();
        self.add(kind, expr.span(), expr.span().byte_range(), was, instead);
        // what stands behind `&&` may fail where what stands before it forbids it: the mutant must not be asked unless it is on
        let comparable = match expr {
            Expr::Binary(b) => compares(&b.op),
            _ => kind == Kind::Guard,
        };
        if let Some(site) = self.sites.last_mut() {
            site.comparable = comparable && without_effect(expr);
        }
    }

    fn binary(&mut self, expr: &Expr, left: &Expr, op: &BinOp, right: &Expr) {
        let (kind, instead): (Kind, &[&str]) = if let Some(other) = logic(op) {
            if has_let(left) || has_let(right) {
                return;
            }
            (Kind::Logic, other)
        } else {
            others(op)
        };
        for other in instead {
            let (left, right) = (left.to_token_stream(), right.to_token_stream());
            let text = if kind == Kind::Assignment {
                format!("{left} {other} {right}")
            } else {
                format!("({left}) {other} ({right})")
            };
            let boundary = matches!(op, BinOp::Lt(_) | BinOp::Gt(_)) && other.ends_with('=')
                || matches!(op, BinOp::Le(_) | BinOp::Ge(_)) && !other.ends_with('=');
            let kind = if boundary { Kind::Boundary } else { kind };
            self.replace(kind, expr, text);
        }
    }

    fn function(&mut self, attributes: &[Attribute], name: &Signature, block: &Block) {
        // what is computed by the compiler cannot be switched at run time
        if for_tests(attributes) || name.constness.is_some() {
            return;
        }
        self.function.push(name.ident.to_string());
        let behind = block.brace_token.span.open().byte_range().end;
        for value in values_returned(&name.output) {
            self.add(
                Kind::Body,
                name.ident.span(),
                behind..behind,
                String::new(),
                value,
            );
        }
        visit::visit_block(self, block);
        self.function.pop();
    }
}

impl<'a> Visit<'a> for Found {
    fn visit_item_fn(&mut self, item: &'a ItemFn) {
        self.function(&item.attrs, &item.sig, &item.block);
    }

    fn visit_impl_item_fn(&mut self, item: &'a ImplItemFn) {
        self.function(&item.attrs, &item.sig, &item.block);
    }

    fn visit_trait_item_fn(&mut self, item: &'a syn::TraitItemFn) {
        if let Some(block) = &item.default {
            self.function(&item.attrs, &item.sig, block);
        }
    }

    fn visit_item_mod(&mut self, item: &'a ItemMod) {
        if !for_tests(&item.attrs) {
            visit::visit_item_mod(self, item);
        } else if item.content.is_none() {
            self.test_modules.push(item.ident.to_string());
        }
    }

    fn visit_item_impl(&mut self, item: &'a ItemImpl) {
        let of = (item.trait_.as_ref()).and_then(|(_, path, _)| path.segments.last());
        let shown = of.is_some_and(|s| s.ident == "Display" || s.ident == "Debug");
        if !shown && !for_tests(&item.attrs) {
            let ty = item.self_ty.to_token_stream().to_string();
            self.function
                .push(ty.split([' ', '<']).next().unwrap_or_default().to_owned());
            visit::visit_item_impl(self, item);
            self.function.pop();
        }
    }

    fn visit_expr(&mut self, expr: &'a Expr) {
        match expr {
            Expr::Binary(b) => self.binary(expr, &b.left, &b.op, &b.right),
            Expr::Unary(u) if !matches!(u.op, UnOp::Deref(_)) => {
                self.replace(Kind::Unary, expr, u.expr.to_token_stream().to_string());
            }
            Expr::Repeat(repeat) => return self.visit_expr(&repeat.expr),
            Expr::Const(_) => return,
            _ => {}
        }
        visit::visit_expr(self, expr);
    }

    fn visit_arm(&mut self, arm: &'a syn::Arm) {
        if let Some((_, guard)) = &arm.guard
            && !has_let(guard)
        {
            for value in ["true", "false"] {
                self.replace(Kind::Guard, guard, value.to_owned());
            }
        }
        visit::visit_arm(self, arm);
    }

    // constants and what stands in types and patterns
    fn visit_item_const(&mut self, _: &'a syn::ItemConst) {}
    fn visit_item_static(&mut self, _: &'a syn::ItemStatic) {}
    fn visit_item_enum(&mut self, _: &'a syn::ItemEnum) {}
    fn visit_impl_item_const(&mut self, _: &'a syn::ImplItemConst) {}
    fn visit_trait_item_const(&mut self, _: &'a syn::TraitItemConst) {}
    fn visit_type(&mut self, _: &'a syn::Type) {}
    fn visit_pat(&mut self, _: &'a syn::Pat) {}
    fn visit_generic_argument(&mut self, _: &'a syn::GenericArgument) {}
}

fn for_tests(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|a| {
        let tokens = a.meta.to_token_stream().to_string();
        a.path().is_ident("test") || a.path().is_ident("cfg") && tokens.contains("test")
    })
}

/// Whether a chain of `&&` binds something, which only `if` and `while` may ask.
fn has_let(expr: &Expr) -> bool {
    match expr {
        Expr::Let(_) => true,
        Expr::Binary(b) => has_let(&b.left) || has_let(&b.right),
        _ => false,
    }
}

fn logic(op: &BinOp) -> Option<&'static [&'static str]> {
    match op {
        BinOp::And(_) => Some(&["||"]),
        BinOp::Or(_) => Some(&["&&"]),
        _ => None,
    }
}

fn compares(op: &BinOp) -> bool {
    others(op).0 == Kind::Comparison
}

/// What may stand for an operator by mistake: for an order the limit's other side and the other direction.
fn others(op: &BinOp) -> (Kind, &'static [&'static str]) {
    use Kind::{Arithmetic, Assignment, Comparison};
    match op {
        BinOp::Add(_) => (Arithmetic, &["-"]),
        BinOp::Sub(_) => (Arithmetic, &["+"]),
        BinOp::Mul(_) => (Arithmetic, &["/"]),
        BinOp::Div(_) => (Arithmetic, &["*"]),
        BinOp::Rem(_) => (Arithmetic, &["/"]),
        BinOp::BitAnd(_) => (Arithmetic, &["|"]),
        BinOp::BitOr(_) | BinOp::BitXor(_) => (Arithmetic, &["&"]),
        BinOp::Shl(_) => (Arithmetic, &[">>"]),
        BinOp::Shr(_) => (Arithmetic, &["<<"]),
        BinOp::Lt(_) => (Comparison, &["<=", ">"]),
        BinOp::Le(_) => (Comparison, &["<", ">="]),
        BinOp::Gt(_) => (Comparison, &[">=", "<"]),
        BinOp::Ge(_) => (Comparison, &[">", "<="]),
        BinOp::Eq(_) => (Comparison, &["!="]),
        BinOp::Ne(_) => (Comparison, &["=="]),
        BinOp::AddAssign(_) => (Assignment, &["-="]),
        BinOp::SubAssign(_) => (Assignment, &["+="]),
        BinOp::MulAssign(_) => (Assignment, &["/="]),
        BinOp::DivAssign(_) => (Assignment, &["*="]),
        BinOp::BitAndAssign(_) => (Assignment, &["|="]),
        BinOp::BitOrAssign(_) => (Assignment, &["&="]),
        _ => (Arithmetic, &[]),
    }
}

/// Whether an expression may be evaluated twice: it calls nothing but methods without closures that change nothing by their names.
fn without_effect(expr: &Expr) -> bool {
    match expr {
        Expr::Path(_) | Expr::Lit(_) => true,
        Expr::Field(e) => without_effect(&e.base),
        Expr::Index(e) => without_effect(&e.expr) && without_effect(&e.index),
        Expr::Paren(e) => without_effect(&e.expr),
        Expr::Cast(e) => without_effect(&e.expr),
        Expr::Unary(e) => without_effect(&e.expr),
        Expr::Reference(e) => e.mutability.is_none() && without_effect(&e.expr),
        Expr::Binary(e) => without_effect(&e.left) && without_effect(&e.right),
        Expr::MethodCall(e) => {
            let name = e.method.to_string();
            let changes = [
                "next", "insert", "pop", "remove", "take", "push", "replace", "join", "link",
            ];
            !changes.contains(&name.as_str())
                && !name.starts_with("into")
                && without_effect(&e.receiver)
                && e.args.iter().all(without_effect)
        }
        _ => false,
    }
}
